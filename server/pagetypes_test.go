package server

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

//go:generate go test . -run "TestTypesOfThePage|TestRecordedStream" -update

var update = flag.Bool("update", false, "write the files that are made from the program")

// pageTypes is the file of the types that the page's modules are checked with.
const pageTypes = "../web/js/wire.d.ts"

// messages are those of the stream, by their type.
var messages = map[string]any{
	"you": youMessage{}, "dropped": lostMessage{}, "pong": pongMessage{}, "state": session.StateMessage{}, "playback": session.PlaybackMessage{}, "clock": session.ClockState{},
	"beats": session.ChannelBeats{}, "reading": session.ChannelReading{}, "meters": session.MetersMessage{}, "gap": session.GapMessage{}, "text": session.TextMessage{}, "note": session.NoteMessage{},
	"health": session.HealthMessage{}, "presenter": presenterMessage{}, "problem": session.ProblemMessage{},
}

// written are the types that write their JSON themselves.
var written = map[reflect.Type]string{
	reflect.TypeFor[json.RawMessage](): "unknown",
	reflect.TypeFor[time.Time]():       "string",
	reflect.TypeFor[board.Part]():      "number | string | PartObject",
	reflect.TypeFor[board.OpAmp]():     "string | Record<string, unknown>",
	reflect.TypeFor[recording.Sign]():  "string",
}

// narrower are fields that hold less than their Go type says, by type and JSON name.
var narrower = map[string]string{
	"ChannelState.kind":  `"pulse" | "ecg" | "other"`,
	"BoardFigures.board": "Board", "BoardFigures.figures": "Figures", "BoardKinds.examples": "Record<string, Board>",
	"Verdict.grade":      `"good" | "fair" | "poor" | "unknown"`,
	"Run.kind":           `"board" | "loop"`,
	"State.recording":    "RecorderState | null",
	"TextColumn.role":    `"time" | "date" | "signal" | "none"`,
	"Hum.mode":           `"off" | "notch" | "cancel"`,
	"Smooth.shape":       `"off" | "rc" | "butterworth"`,
	"PresentPlaces.on":   `"traces" | "words"`,
	"Scale.source":       `"board" | "converter" | "fullscale" | "unknown"`,
	"PreviewChannel.low": "(number | null)[]", "PreviewChannel.high": "(number | null)[]",
}

// typist writes TypeScript declarations of Go types as encoding/json has them.
type typist struct {
	names map[reflect.Type]string
	taken map[string]reflect.Type
	texts map[string]string
	enums map[string][]string // constants' values by package path and type name
}

// nameOf gives a struct its name, with its package's before it where another has it already.
func (w *typist) nameOf(t reflect.Type) string {
	if name, ok := w.names[t]; ok {
		return name
	}
	name := strings.ToUpper(t.Name()[:1]) + t.Name()[1:]
	if other, ok := w.taken[name]; ok && other != t {
		base := path.Base(t.PkgPath())
		name = strings.ToUpper(base[:1]) + base[1:] + name
	}
	w.names[t], w.taken[name] = name, t
	w.texts[name] = "" // its place, for types that contain themselves
	body := "{\n"
	for _, f := range w.fields(t) {
		kind := f.kind
		if n, ok := narrower[name+"."+f.name]; ok {
			kind = n
		}
		body += fmt.Sprintf("  %s%s: %s;\n", f.name, f.optional, kind)
	}
	w.texts[name] = body + "}"
	return name
}

type typedField struct{ name, optional, kind string }

// fields are those of a struct, with those of what it embeds.
func (w *typist) fields(t reflect.Type) (list []typedField) {
	for i := range t.NumField() {
		f := t.Field(i)
		tag := f.Tag.Get("json")
		name, options, _ := strings.Cut(tag, ",")
		if tag == "-" || !f.IsExported() && !f.Anonymous {
			continue
		}
		if f.Anonymous && name == "" {
			inner := f.Type
			if inner.Kind() == reflect.Pointer {
				inner = inner.Elem()
			}
			for _, g := range w.fields(inner) {
				if n, ok := narrower[inner.Name()+"."+g.name]; ok {
					g.kind = n
				}
				list = slices.DeleteFunc(list, func(x typedField) bool { return x.name == g.name })
				list = append(list, g)
			}
			continue
		}
		if name == "" {
			name = f.Name
		}
		optional := ""
		kind := w.typeOf(f.Type)
		if strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero") {
			optional = "?"
			kind = strings.TrimSuffix(kind, " | null") // such a pointer is left out
		}
		list = slices.DeleteFunc(list, func(x typedField) bool { return x.name == name })
		list = append(list, typedField{name, optional, kind})
	}
	return list
}

func (w *typist) typeOf(t reflect.Type) string {
	if text, ok := written[t]; ok {
		return text
	}
	switch t.Kind() {
	case reflect.Pointer:
		return w.typeOf(t.Elem()) + " | null"
	case reflect.Bool:
		return "boolean"
	case reflect.String:
		return w.enum(t)
	case reflect.Slice, reflect.Array:
		inner := w.typeOf(t.Elem())
		if strings.Contains(inner, " ") {
			inner = "(" + inner + ")"
		}
		return inner + "[]"
	case reflect.Map:
		return "Record<string, " + w.typeOf(t.Elem()) + ">"
	case reflect.Struct:
		if t.Name() == "" {
			body := ""
			for _, f := range w.fields(t) {
				body += fmt.Sprintf(" %s%s: %s;", f.name, f.optional, f.kind)
			}
			return "{" + body + " }"
		}
		return w.nameOf(t)
	case reflect.Interface:
		return "unknown"
	default:
		return "number"
	}
}

// enum is the union of the constants of a named string type, or string.
func (w *typist) enum(t reflect.Type) string {
	folder, ours := strings.CutPrefix(t.PkgPath(), "pulsewright/")
	if !ours {
		return "string"
	}
	key := t.PkgPath() + "." + t.Name()
	values, ok := w.enums[key]
	if !ok && key == "pulsewright/dsp/beat.State" { // a channel that is not read for beats
		values = append(values, `"off"`)
	}
	if !ok {
		values = append(values, constantsOf(filepath.Join("..", filepath.FromSlash(folder)), t.Name())...)
		w.enums[key] = values
	}
	if len(values) == 0 {
		return "string"
	}
	return strings.Join(values, " | ")
}

// constantsOf are the values of a package's string constants of a type, as its source has them.
func constantsOf(folder, name string) (values []string) {
	files, _ := filepath.Glob(filepath.Join(folder, "*.go"))
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			continue
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			v, ok := n.(*ast.ValueSpec)
			if !ok {
				return true
			}
			if id, ok := v.Type.(*ast.Ident); ok && id.Name == name {
				for _, x := range v.Values {
					if l, ok := x.(*ast.BasicLit); ok && l.Kind == token.STRING {
						if text, err := strconv.Unquote(l.Value); err == nil {
							values = append(values, strconv.Quote(text))
						}
					}
				}
			}
			return true
		})
	}
	slices.Sort(values)
	return slices.Compact(values)
}

// answerType is the type of a body or an answer of an endpoint.
func (w *typist) answerType(v any) string {
	if v == nil {
		return "null"
	}
	if media, ok := v.(string); ok {
		if media == bytesType || media == pngType {
			return "ArrayBuffer"
		}
		return "string"
	}
	return w.typeOf(reflect.TypeOf(v))
}

var hole = regexp.MustCompile(`\{\w+\}`)

// declarations are the whole file.
func declarations() string {
	w := &typist{names: map[reflect.Type]string{}, taken: map[string]reflect.Type{}, texts: map[string]string{}, enums: map[string][]string{}}
	w.nameOf(reflect.TypeFor[session.State]()) // who has a name first keeps it
	w.nameOf(reflect.TypeFor[recorder.State]())
	w.nameOf(reflect.TypeFor[meter.Report]())
	var union []string
	for _, name := range slices.Sorted(maps.Keys(messages)) {
		union = append(union, fmt.Sprintf("  | Omit<%s, \"type\"> & { type: %q }", w.typeOf(reflect.TypeOf(messages[name])), name))
	}
	list := slices.Clone(endpoints)
	// What is more particular stands first: literals before holes, from the left.
	slices.SortStableFunc(list, func(a, b endpoint) int {
		as, bs := strings.Split(a.path, "/"), strings.Split(b.path, "/")
		if c := cmp.Compare(len(bs), len(as)); c != 0 {
			return c
		}
		for i := range as {
			if c := cmp.Compare(strings.Count(as[i], "{"), strings.Count(bs[i], "{")); c != 0 {
				return c
			}
		}
		return cmp.Compare(a.method+a.path, b.method+b.path)
	})
	answers, bodies := "", ""
	for _, e := range list {
		route := fmt.Sprintf("`%s %s`", strings.ToUpper(e.method), hole.ReplaceAllLiteralString(e.path, "${string}"))
		answers += fmt.Sprintf("  R extends %s ? %s :\n", route, w.answerType(e.answer))
		if e.body != nil {
			bodies += fmt.Sprintf("  R extends %s ? %s :\n", route, w.answerType(e.body))
		}
	}
	var b strings.Builder
	b.WriteString("// Made from the program's types by go generate ./server; not to be edited. What fields mean stands in server/API.md and at the Go types.\n\n")
	for _, name := range slices.Sorted(maps.Keys(w.texts)) {
		fmt.Fprintf(&b, "export interface %s %s\n", name, w.texts[name])
	}
	b.WriteString("/** A part of a board that is more than its value. */\nexport interface PartObject {\n  value: number;\n  name?: string;\n  tolerance?: number;\n  at?: number;\n}\n")
	fmt.Fprintf(&b, "\n/** A JSON message of the stream. */\nexport type Message =\n%s;\n", strings.Join(union, "\n"))
	fmt.Fprintf(&b, "\n/** The answer to a request below /api/v1, as in AnswerTo<\"GET\", \"/state\">. */\nexport type AnswerTo<M extends string, P extends string> = P extends `${infer A}?${string}` ? AnswerOf<`${M} ${A}`> : AnswerOf<`${M} ${P}`>;\ntype AnswerOf<R extends string> =\n%s  unknown;\n", answers)
	fmt.Fprintf(&b, "\n/** What may be sent of a type: what is left out is as before, or usual. */\nexport type Sent<T> = T extends ArrayBuffer ? Blob | Float32Array : T extends (infer E)[] ? Sent<E>[] : T extends object ? { [K in keyof T]?: Sent<T[K]> } : T;\n\n/** What a request takes. */\nexport type BodyOf<M extends string, P extends string> = P extends `${infer A}?${string}` ? Sent<Taken<`${M} ${A}`>> : Sent<Taken<`${M} ${P}`>>;\ntype Taken<R extends string> =\n%s  undefined;\n", bodies)
	return b.String()
}

// recordedStream is a stream of the program's, which the page's type checker and its reducer read.
const recordedStream = "../web/test/recorded.js"

// TestRecordedStream: the page is checked against what the program really sends. The file holds a message of each
// type that an invented chest lead and finger give; with -update it is recorded anew. The types of today's messages
// must know each of its fields, and it each of theirs.
func TestRecordedStream(t *testing.T) {
	if *update {
		recordStream(t)
	}
	text, err := os.ReadFile(recordedStream)
	if err != nil {
		t.Fatal(err)
	}
	_, list, _ := strings.Cut(string(text), "export const recorded = ")
	var all []json.RawMessage
	if err := json.Unmarshal([]byte(strings.TrimSuffix(strings.TrimSpace(list), ";")), &all); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, raw := range all {
		var head struct{ Type string }
		if err := json.Unmarshal(raw, &head); err != nil {
			t.Fatal(err)
		}
		seen[head.Type] = true
		into := reflect.New(reflect.TypeOf(messages[head.Type]))
		d := json.NewDecoder(bytes.NewReader(raw))
		d.DisallowUnknownFields()
		if err := d.Decode(into.Interface()); err != nil {
			t.Errorf("%s: %v", head.Type, err)
			continue
		}
		again, err := json.Marshal(into.Interface())
		if err != nil {
			t.Fatal(err)
		}
		var want, got map[string]any
		_ = json.Unmarshal(raw, &want)
		_ = json.Unmarshal(again, &got)
		for name := range got {
			if _, ok := want[name]; !ok {
				t.Errorf("%s: the recorded message has no %q: record it anew with go generate ./server", head.Type, name)
			}
		}
	}
	for _, must := range []string{"you", "state", "clock", "beats", "reading", "meters", "note"} {
		if !seen[must] {
			t.Errorf("no message of type %s was recorded", must)
		}
	}
}

// recordStream records some seconds of a stream.
func recordStream(t *testing.T) {
	t.Helper()
	_, h := demoServerOf(t, "demo:both")
	c, _, err := dial(t, h, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	request(t, h, "POST", "/api/v1/notes", `{"text":"pressed the clip"}`, map[string]string{"Origin": h.URL, "Content-Type": "application/json"})
	first := map[string]string{}
	for began := time.Now(); time.Since(began) < 12*time.Second; {
		kind, data, err := c.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		var head struct{ Type string }
		if kind != websocket.MessageText || json.Unmarshal(data, &head) != nil {
			continue
		}
		first[head.Type] = string(data) // the newest of each
	}
	var list []string
	for _, name := range slices.Sorted(maps.Keys(first)) {
		list = append(list, first[name])
	}
	text := "// What the program sent, recorded by go generate ./server; no page loads it, the type checker and the tests do.\n\n/** @import {Message} from \"../js/types.js\" */\n\n/** @type {Message[]} */\nexport const recorded = [\n" + strings.Join(list, ",\n") + "\n];\n"
	if err := os.WriteFile(recordedStream, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestTypesOfThePage: the page's modules are checked with the types that the program has today.
func TestTypesOfThePage(t *testing.T) {
	want := declarations()
	if *update {
		if err := os.WriteFile(pageTypes, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(pageTypes)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("web/js/wire.d.ts is not made from the program's types of today: run go generate ./server")
	}
	for _, must := range []string{"export interface ChannelState {", `mode: "off" | "notch" | "cancel"`, "R extends `GET /channels/${string}/reading` ? Reading :", `{ type: "meters" }`} {
		if !strings.Contains(want, must) {
			t.Errorf("%q is not in it", must)
		}
	}
}
