//go:build !windows

package command

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// dropFiles drops files on the page's trace.
func dropFiles(t *testing.T, ctx context.Context, files map[string][]byte) {
	t.Helper()
	list := map[string]string{}
	for name, data := range files {
		list[name] = base64.StdEncoding.EncodeToString(data)
	}
	text, err := json.Marshal(list)
	if err != nil {
		t.Fatal(err)
	}
	look[bool](t, ctx, fmt.Sprintf(`(() => { const d = new DataTransfer(); for (const [name, data] of Object.entries(%s)) d.items.add(new File([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], name)); document.querySelector("#trace").dispatchEvent(new DragEvent("drop", {dataTransfer: d, bubbles: true, cancelable: true})); return true })()`, text))
}

// TestImportAsks: a person drops a text file of doubtful reading among others on the page, is asked, says
// what is what, sees the trace that would come of it, and finds the recording read so; a file of the same
// head is then read without asking; a record of several files arrives whole; a bad file stops none.
func TestImportAsks(t *testing.T) {
	ctx := browser(t, 1280, 800)
	address := program(t, "demo:finger")
	open(t, ctx, address)
	look[bool](t, ctx, `(document.querySelector('[data-testid=cautions-ack]')?.click(), true)`)
	set := func(id, value string) {
		t.Helper()
		look[bool](t, ctx, fmt.Sprintf(`((e) => { e.value = %q; e.dispatchEvent(new Event("input", {bubbles: true})); e.dispatchEvent(new Event("change", {bubbles: true})); return true })(document.querySelector('[data-testid="%s"]'))`, value, id))
	}
	text := func(id string) string {
		return look[string](t, ctx, fmt.Sprintf(`document.querySelector('[data-testid="%s"]')?.innerText ?? ""`, id))
	}
	const asking = `document.querySelector('[data-testid=import-dialog]')?.open`
	const settled = `document.querySelector('[data-testid=import-dialog]')?.open && !document.querySelector('[data-testid=import-go]').disabled`

	rows := "when;lamp clip;room;remark\n"
	for i := range 800 {
		rows += fmt.Sprintf("%d;2,%03d;%d;x\n", 8*i, 500+i%40, 300+i%7)
	}
	dropFiles(t, ctx, map[string][]byte{"evening class.txt": []byte(rows), "notes.pdf": []byte("%PDF"), "broken.edf": []byte("0       no")})
	soon(t, ctx, "the question", asking, 10*time.Second)
	if got := text("import-error"); !strings.Contains(got, "how many samples a second") {
		t.Errorf("without a rate it says %q", got)
	}
	if !look[bool](t, ctx, `document.querySelector('[data-testid=import-go]').disabled`) {
		t.Error("it can be imported without a rate")
	}
	set("import-role-0", "time")
	soon(t, ctx, "the question for the unit", `/which unit/.test(document.querySelector('[data-testid=import-error]').innerText)`, 10*time.Second)
	set("import-time-unit", "ms")
	soon(t, ctx, "125 Hz", settled+` && /125.Hz/.test(document.querySelector('[data-testid=import-result]').innerText)`, 10*time.Second)
	set("import-role-2", "none")
	soon(t, ctx, "one channel", settled+` && /^1 channel/.test(document.querySelector('[data-testid=import-result]').innerText)`, 10*time.Second)
	set("import-unit-1", "V")
	soon(t, ctx, "volts", settled+` && /2\.5\d* to 2\.5\d* V/.test(document.querySelector('[data-testid=import-traces]').innerText)`, 10*time.Second)
	set("import-kind", "pulse")
	soon(t, ctx, "the last look", settled, 10*time.Second)
	if points := look[int](t, ctx, `document.querySelector('.import-traces path').getAttribute("d").split("L").length`); points < 300 {
		t.Errorf("the trace has %d points", points)
	}
	everyScreen(t, ctx, "#import-dialog")
	look[bool](t, ctx, `(document.querySelector('[data-testid=import-go]').click(), true)`)
	soon(t, ctx, "three outcomes", `document.querySelectorAll('[data-testid=import-outcomes] > li').length === 4`, 20*time.Second)
	said := text("import-outcomes")
	for _, want := range []string{"evening class is here", "notes.pdf: This is not a recording", "broken.edf: "} {
		if !strings.Contains(said, want) {
			t.Errorf("told %q, want %q in it", said, want)
		}
	}
	detail := map[string]any{}
	asks(t, "GET", address+"/api/v1/recordings/evening%20class.csv", "", &detail)
	channels, _ := detail["channelDetails"].([]any)
	if hz, _ := detail["rateHz"].(float64); hz < 124.99 || hz > 125.01 || len(channels) != 1 {
		t.Fatalf("the recording has %v Hz and the channels %v", detail["rateHz"], channels)
	}
	if c, _ := channels[0].(map[string]any); c["kind"] != "pulse" || c["unit"] != "V" || c["label"] != "lamp clip" {
		t.Errorf("the channel is %v", channels[0])
	}

	// The same head again: not asked.
	dropFiles(t, ctx, map[string][]byte{"next week.csv": []byte(rows)})
	soon(t, ctx, "the second file", `/next week is here/.test(document.querySelector('[data-testid=import-outcomes]').innerText)`, 20*time.Second)
	next := map[string]any{}
	asks(t, "GET", address+"/api/v1/recordings/next%20week.csv", "", &next)
	if hz := next["rateHz"].(float64); hz < 124.99 || hz > 125.01 {
		t.Errorf("the second file has %v Hz", hz)
	}

	// It is told, and can be read anew: the one before goes to the trash.
	look[bool](t, ctx, `([...document.querySelectorAll('[data-testid=import-outcomes] button')].find((e) => /differently/.test(e.innerText)).click(), true)`)
	soon(t, ctx, "the question again", settled, 10*time.Second)
	set("import-kind", "ecg")
	soon(t, ctx, "the look with the other kind", settled+` && /ECG/.test(document.querySelector('[data-testid=import-result]').innerText)`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=import-go]').click(), true)`)
	soon(t, ctx, "the one before in the trash", `/next week/.test(document.querySelector('[data-testid=trash]').parentElement.textContent) && [...document.querySelectorAll('[data-recording]')].length === 2`, 20*time.Second)

	// Names that are numbers: asked.
	dropFiles(t, ctx, map[string][]byte{"counted.csv": []byte("# rate 100 Hz\n0,1\n" + strings.Repeat("2.5,3.1\n2.6,3.0\n", 40))})
	soon(t, ctx, "the question for the names", settled+` && /taken for the columns. names. Is that right/.test(document.querySelector('[data-testid=import-doubts]').innerText)`, 10*time.Second)
	everyScreen(t, ctx, "#import-dialog")
	set("import-names", "none")
	soon(t, ctx, "the row among the others", settled+` && document.querySelector('.import-table td').innerText === "0"`, 10*time.Second)
	look[bool](t, ctx, `(document.querySelector('[data-testid=import-skip]').click(), true)`)

	// A record.
	base := recordOfOurs(t)
	record := map[string][]byte{}
	for _, ext := range []string{".hea", ".dat", ".atr"} {
		data, err := os.ReadFile(base + ext)
		if err != nil {
			t.Fatal(err)
		}
		record[filepath.Base(base)+ext] = data
	}
	base = filepath.Base(base)
	dropFiles(t, ctx, record)
	soon(t, ctx, "the record", fmt.Sprintf(`[...document.querySelectorAll('[data-testid=import-outcomes] > li')].some((e) => e.innerText.startsWith(%q))`, base+" is here"), 20*time.Second)
	entry := map[string]any{}
	asks(t, "GET", address+"/api/v1/recordings/"+base+".edf", "", &entry)
	if n, _ := entry["seconds"].(float64); n < 1 || entry["invented"] != true {
		t.Errorf("the record is %v", entry)
	}

	// Its annotations alone: for the recording of that name, which has them.
	dropFiles(t, ctx, map[string][]byte{base + ".atr": record[base+".atr"]})
	soon(t, ctx, "what is said of the annotations", `/annotated beats already/.test(document.querySelector('[data-testid=import-outcomes]').innerText)`, 20*time.Second)
}

// recordOfOurs is the path of the invented record in testdata, without its ending.
func recordOfOurs(t *testing.T) string {
	t.Helper()
	found, err := filepath.Glob("../../testdata/*.hea")
	if err != nil || len(found) == 0 {
		t.Fatal("no record in testdata")
	}
	return strings.TrimSuffix(found[0], ".hea")
}
