//go:build !windows

package command

import (
	"net/http"
	"strings"
	"testing"
	"time"
)

// TestReviewSaysWhatAChannelIs: a recording of plain numbers becomes a chest lead in volts in Review,
// with what it is worth computed from the converter, and what was said can be taken back. 5 V ÷ 2^10 ÷ 100
// is 48.8 µV.
func TestReviewSaysWhatAChannelIs(t *testing.T) {
	t.Parallel()
	ctx := browser(t, 1280, 900)
	address := program(t, "demo:finger")
	var csv strings.Builder
	csv.WriteString("# rate 100 Hz\nvalue\n")
	for i := range 1000 {
		csv.WriteString([]string{"510\n", "511\n", "560\n", "512\n"}[i/20%4])
	}
	r, err := http.NewRequest("POST", address+"/api/v1/recordings?name=board.csv", strings.NewReader(csv.String()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/octet-stream")
	answer, err := http.DefaultClient.Do(r)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("uploading: %v, %v", answer, err)
	}
	answer.Body.Close()
	open(t, ctx, address)
	script(t, ctx, `document.querySelector('[data-testid=drawer-recordings]').click()`)
	soon(t, ctx, "the recording", `document.querySelector('[data-testid=recording-0]')`, 5*time.Second)
	script(t, ctx, `window.at = (id) => document.querySelector('[data-testid="' + id + '"]'); at("recording-0").click()`)
	soon(t, ctx, "counts", `at("review-channel-0-scale-words")?.textContent.startsWith("counts")`, 10*time.Second)

	script(t, ctx, `{ const i = at("review-channel-0-label"); i.value = "chest lead"; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "its name", `at("review-channels")?.querySelector('[role=group]')?.getAttribute("aria-label") === "chest lead"`, 10*time.Second)
	script(t, ctx, `{ const i = at("review-channel-0-kind"); i.value = "ecg"; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "a way back", `at("review-channel-0-forget") && at("review-channel-0-kind").value === "ecg"`, 10*time.Second)
	script(t, ctx, `at("review-channel-0-scale").click()`)
	soon(t, ctx, "the dialog", `at("review-scale-dialog")?.open`, 5*time.Second)
	script(t, ctx, `{ at("review-scale-source").value = "converter"; at("review-scale-source").dispatchEvent(new Event("change"));
		at("review-scale-reference").value = "5"; at("review-scale-bits").value = "10"; at("review-scale-gain").value = "100"; at("review-scale-apply").click(); }`)
	soon(t, ctx, "volts", `!at("review-scale-dialog").open && at("review-channel-0-scale-words").textContent.replaceAll("\u00a0", " ").includes("one count is 48.8 µV")`, 10*time.Second)
	script(t, ctx, `at("review-channels").scrollIntoView()`)
	picture(t, ctx, "review-channels")

	script(t, ctx, `{ const i = at("review-channel-0-label"); i.value = ""; i.dispatchEvent(new Event("change")); }`)
	soon(t, ctx, "why an empty name is refused", `at("review-channels").querySelector(".error").textContent.includes("give one")`, 5*time.Second)
	script(t, ctx, `at("review-channel-0-forget").click()`)
	soon(t, ctx, "counts again", `at("review-channel-0-scale-words").textContent.startsWith("counts") && at("review-channel-0-label").value === "value"`, 10*time.Second)
}
