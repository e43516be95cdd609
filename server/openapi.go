package server

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"regexp"
	"time"

	"github.com/google/jsonschema-go/jsonschema"

	"pulsewright/dsp/beat"
	"pulsewright/dsp/board"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
	"pulsewright/dsp/wire"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/library"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

// endpoint describes a route below /api/v1 for those who write programs.
type endpoint struct {
	method, path, what string
	query              []field
	// body and answer are values of the types of the JSON taken and given; a media type
	// where it is no JSON; nil for none.
	body, answer any
}

// field of a query: its name and what it is.
type field struct{ name, what string }

// Media types.
const (
	bytesType = "application/octet-stream"
	plainType = "text/plain"
	pngType   = "image/png"
	zipType   = "application/zip"
)

var (
	span2     = []field{{"from", "first sample, from 0"}, {"to", "the sample behind the last; left out, the end"}}
	channel0  = field{"channel", "channel, counted from 0"}
	found1    = field{"found", "1: without what was edited by hand"}
	progress1 = field{"progress", "1: lines that tell how far the work is come first"}
)

// endpoints are all routes below /api/v1, in Handler's order.
var endpoints = []endpoint{
	{"get", "/stream", "the stream, a websocket: server/API.md", []field{{"channels", "those wanted, as 0,2"}, {"points", "those wanted, of scale, drift, hum, smooth, beats; or none"}}, nil, nil},
	{"get", "/audio", "takes the sound that a page sends, a websocket", nil, nil, nil},
	{"get", "/serial", "takes what a page reads from a serial port, a websocket", nil, nil, nil},
	{"get", "/state", "everything that a page needs on connecting", nil, nil, stateAnswer{}},
	{"put", "/source", "opens a source", nil, sourceBody{}, session.State{}},
	{"put", "/playback", "moves a replay", nil, session.PlaybackChange{}, session.State{}.Playback},
	{"put", "/demo", "turns a simulated board's trimmer", nil, demoBody{}, demoBody{}},
	{"put", "/channels/{n}/kind", "says what kind a channel is", nil, kindBody{}, session.ChannelState{}},
	{"put", "/channels/{n}/path", "sets the signal path", nil, pathBody{}, signalpath.Settings{}},
	{"get", "/channels/{n}/path/response", "the path's response", []field{{"points", "frequencies, 2 to 2000"}}, nil, session.Response{}},
	{"get", "/channels/{n}/path/firmware", "the path as C", []field{{"bits", "of the converter, 8 to 24"}, {"signed", "true or false"}, {"form", "exact or small"}, {"whole", "ino, avr or c: a whole program"}, {"download", "1: the code alone"}}, nil, Firmware{}},
	{"put", "/channels/{n}/scale", "says what a count is worth", nil, channel.Scale{}, session.ChannelState{}},
	{"post", "/channels/{n}/calibration", "measures a coupled input's corner or full scale", nil, session.Calibration{}, session.Calibrated{}},
	{"get", "/channels/{n}/reading", "the rate, or the reason for none", nil, nil, beat.Reading{}},
	{"get", "/channels/{n}/meters", "the board judged", nil, nil, metersAnswer{}},
	{"get", "/channels/{n}/why", "what the beat finder looked at", span2, nil, session.Why{}},
	{"get", "/channels/{n}/spectrum", "the density", []field{{"point", "place on the path, 0 to 4"}, {"seconds", "1 to 120"}}, nil, Spectrum{}},
	{"get", "/channels/{n}/trimmer", "advice on a single-pole low-pass", []field{{"presentOhms", "resistor that is there"}, {"presentFarads", "capacitor that is there"}, {"capacitorFarads", "to use"}, {"trimmerOhms", "trimmer's value"}, {"targetDb", "hum wanted against the pulse"}}, nil, meter.Advice{}},
	{"get", "/channels/{n}/variability", "intervals, their measures, breathing, arrival", []field{{"minutes", "0 is all"}}, nil, Variability{}},
	{"get", "/history", "what is kept of the signal, as frames", span2, nil, bytesType},
	{"get", "/beats", "the beats kept, gaps and notes", span2, nil, beatsAnswer{}},
	{"post", "/notes", "puts a note", nil, noteBody{}, session.Note{}},
	{"put", "/presenter", "shows all pages that follow what one page shows", nil, Presentation{}, Presentation{}},
	{"get", "/openapi.json", "this page", nil, nil, json.RawMessage{}},
	{"get", "/sources", "what can be opened", nil, nil, Choices{}},
	{"get", "/sketch/{name}", "an example program for a board", nil, nil, plainType},
	{"get", "/channels/{n}/path/firmware/seen", "what the board's program would see", []field{{"seconds", "1 to 20"}}, nil, OnBoardView{}},
	{"get", "/board", "the stages that a board is drawn of", nil, nil, boardKinds{}},
	{"post", "/board/figures", "what a board does", nil, figuresBody{}, boardFigures{}},
	{"post", "/board/turn", "what turning a trimmer does", nil, turnBody{}, turnAnswer{}},
	{"put", "/channels/{n}/board", "sets a channel's board", nil, boardBody{}, session.ChannelState{}},
	{"post", "/channels/{n}/board/look", "the signal as it would come out of a changed board", nil, lookBody{}, boardLook{}},
	{"post", "/channels/{n}/wire", "what is wrong between sensor and converter", nil, wireBody{}, wireAnswer{}},
	{"post", "/channels/{n}/board/compare", "measured against predicted", nil, compareBody{}, boardComparison{}},
	{"get", "/response", "the board's response measured by a sweep", nil, nil, responseState{}},
	{"get", "/response/stimulus", "the sweep's samples, f32", []field{{"rateHz", "8000 to 192000"}, {"seconds", "of the sweep"}}, nil, bytesType},
	{"post", "/response/runs", "a run that the page recorded, f32", []field{{"kind", "loop or board"}, {"rateHz", "of the run"}, {"seconds", "of the sweep"}}, bytesType, run{}},
	{"delete", "/response", "forgets the runs", nil, nil, nil},
	{"put", "/response/card", "opens this computer's sound card", nil, cardBody{}, cardAnswer{}},
	{"delete", "/response/card", "closes the sound card", nil, nil, nil},
	{"post", "/response/card/runs", "plays and records a run", nil, cardRunBody{}, run{}},
	{"get", "/share", "who may look", nil, nil, ShareState{}},
	{"put", "/share", "switches sharing", nil, shareBody{}, ShareState{}},
	{"delete", "/share/visitors", "sends everyone away", nil, nil, ShareState{}},
	{"delete", "/share/visitors/{id}", "sends one away", nil, nil, ShareState{}},
	{"get", "/share/qr", "a picture of a link", []field{{"for", "watch, short or owner"}, {"n", "which address"}, {"view", "show: opens in Show view"}}, nil, pngType},
	{"get", "/recording", "the recording under way, or null", nil, nil, &recorder.State{}},
	{"post", "/recording", "begins a recording", nil, recordBody{}, recorder.State{}},
	{"delete", "/recording", "ends the recording", nil, nil, recorder.State{}},
	{"post", "/keep", "saves the last minutes", nil, keepBody{}, recorder.State{}},
	{"get", "/recordings", "what there is", []field{{"brief", "1: at once, without what has to be read"}}, nil, recordingsList{}},
	{"post", "/recordings", "imports the file that is the body, or a record as multipart/form-data", append([]field{progress1}, reading...), bytesType, library.Imported{}},
	{"post", "/recordings/preview", "how the file whose beginning is the body would be read", append([]field{{"whole", "1: the body is all of it"}}, reading...), bytesType, library.Preview{}},
	{"post", "/archives", "chooses recordings to be downloaded as one archive", nil, archiveBody{}, archiveAnswer{}},
	{"get", "/archives/{id}", "the archive, ZIP", nil, nil, zipType},
	{"delete", "/trash", "deletes recordings in the trash for good", nil, deleteBody{}, deletedList{}},
	{"get", "/recordings/{id}", "all that is known of a recording", []field{{"notes", "0: at once, without notes"}}, nil, library.Detail{}},
	{"patch", "/recordings/{id}", "says something of a recording", nil, patchBody{}, library.Entry{}},
	{"delete", "/recordings/{id}", "puts a recording into the trash", nil, nil, trashedOne{}},
	{"post", "/recordings/{id}/restore", "takes it out of the trash", nil, nil, library.Entry{}},
	{"post", "/recordings/{id}/notes", "puts a note beside a recording", nil, markBody{}, markBody{}},
	{"delete", "/recordings/{id}/notes", "takes such a note away", nil, markBody{}, markBody{}},
	{"get", "/recordings/{id}/file", "the file", []field{{"as", "edf, csv or wav"}}, nil, bytesType},
	{"get", "/recordings/{id}/file/lost", "what of the recording that file does not hold", []field{{"as", "edf, csv or wav"}}, nil, fileLost{}},
	{"get", "/recordings/{id}/view", "a stretch in columns", append([]field{{"columns", "1 to 4000"}, {"path", "PathSettings as JSON"}}, span2...), nil, bytesType},
	{"get", "/recordings/{id}/beats", "the beats stored, or found anew", append([]field{{"find", "channel to find them in"}, found1, {"as", "json or compact"}, progress1}, span2...), nil, foundBeats{}},
	{"patch", "/recordings/{id}/beats", "edits beats by hand", nil, library.EditChange{}, editedBeats{}},
	{"get", "/recordings/{id}/analysis", "a stretch judged", append([]field{channel0}, span2...), nil, analysis.Stretch{}},
	{"get", "/recordings/{id}/variability", "a stretch's intervals", append([]field{found1, channel0, progress1}, span2...), nil, analysis.Intervals{}},
	{"get", "/recordings/{id}/score", "the found beats against those annotated", append([]field{{"learning", "seconds at the start that are left out; EC57 uses 300"}, found1, channel0, progress1}, span2...), nil, analysis.Score{}},
	{"get", "/recordings/{id}/taken", "a file of what is asked for", append([]field{{"what", "signal, beats, intervals, measures, score, spectrum, typical or figures"}, {"as", "csv or, of the signal, edf, bdf or wav"}, {"point", "scale, drift, hum, smooth or beats"}, {"learning", "of the score: seconds at the start left out"}, found1, channel0}, span2...), nil, bytesType},
}

// reading is how a file is to be read.
var reading = []field{{"name", "of the file"}, {"rate", "sample rate in Hz of a file that does not say it"}, {"time", "name or number of the time column, or none"}, {"separator", "comma, semicolon, tab, blank, or the sign"}, {"decimal", "point or comma"}, {"columns", "names or numbers of the signal columns, parted by commas"}, {"unit", "of the values, one or one for each column"}, {"dates", "day-first or month-first"}, {"names", "first-row or none: where the columns' names stand"}, {"kind", "pulse, ecg or other, one or one for each channel"}}

// schemaOptions translate what writes its JSON itself.
func schemaOptions() *jsonschema.ForOptions {
	return &jsonschema.ForOptions{TypeSchemas: map[reflect.Type]*jsonschema.Schema{
		reflect.TypeFor[json.RawMessage](): {},
		reflect.TypeFor[time.Time]():       {Type: "string", Format: "date-time"},
		reflect.TypeFor[time.Duration]():   {Type: "integer"},
		reflect.TypeFor[analysis.Edits]():  {Type: "object", Description: "beats edited by hand: lists of {at, was} by channel, counted from 0"},
		reflect.TypeFor[board.Board]():     {Type: "object", Description: "see dsp/board/FORMAT.md"},
		reflect.TypeFor[board.Part]():      {Description: "a number, text such as 4k7, or an object"},
		reflect.TypeFor[board.OpAmp]():     {Description: "the name of a class, or an object"},
		reflect.TypeFor[wire.Look]():       {Type: "object", Description: "what a look at the signal found"},
	}}
}

// schemaOf is the JSON Schema of a value's type.
func schemaOf(v any) (*jsonschema.Schema, error) {
	return jsonschema.ForType(reflect.TypeOf(v), schemaOptions())
}

var inPath = regexp.MustCompile(`\{(\w+)\}`)

// operation describes an endpoint as OpenAPI 3.1 has it.
func (e endpoint) operation() (map[string]any, error) {
	parameters := []any{}
	for _, m := range inPath.FindAllStringSubmatch(e.path, -1) {
		parameters = append(parameters, map[string]any{"name": m[1], "in": "path", "required": true, "schema": map[string]any{"type": "string"}})
	}
	for _, q := range e.query {
		parameters = append(parameters, map[string]any{"name": q.name, "in": "query", "description": q.what, "schema": map[string]any{"type": "string"}})
	}
	content := func(v any) (map[string]any, error) {
		if media, ok := v.(string); ok {
			return map[string]any{media: map[string]any{}}, nil
		}
		schema, err := schemaOf(v)
		return map[string]any{"application/json": map[string]any{"schema": schema}}, err
	}
	op := map[string]any{"summary": e.what, "parameters": parameters}
	if e.body != nil {
		c, err := content(e.body)
		if err != nil {
			return nil, err
		}
		op["requestBody"] = map[string]any{"required": true, "content": c}
	}
	answer := map[string]any{"description": e.what}
	if e.answer != nil {
		c, err := content(e.answer)
		if err != nil {
			return nil, err
		}
		answer["content"] = c
	}
	failed := map[string]any{"description": "a sentence for a person", "content": map[string]any{"application/json": map[string]any{"schema": map[string]any{"type": "object", "properties": map[string]any{"error": map[string]any{"type": "string"}}, "required": []string{"error"}}}}}
	op["responses"] = map[string]any{"200": answer, "default": failed}
	return op, nil
}

// openAPI is the description of all endpoints, made from the types that the handlers read and
// write (OpenAPI 3.1.0, https://spec.openapis.org/oas/v3.1.0).
func openAPI() (map[string]any, error) {
	paths := map[string]map[string]any{}
	for _, e := range endpoints {
		op, err := e.operation()
		if err != nil {
			return nil, fmt.Errorf("%s %s: %w", e.method, e.path, err)
		}
		if paths[e.path] == nil {
			paths[e.path] = map[string]any{}
		}
		paths[e.path][e.method] = op
	}
	return map[string]any{"openapi": "3.1.0",
		"info":    map[string]any{"title": "Pulsewright", "version": "1", "description": "The program's own interface; server/API.md tells more. A learning aid, not a medical device."},
		"servers": []any{map[string]any{"url": "/api/v1"}}, "paths": paths}, nil
}

func (s *Server) getOpenAPI(w http.ResponseWriter, _ *http.Request) {
	page, err := openAPI()
	if err != nil {
		fail(w, http.StatusInternalServerError, err.Error())
		return
	}
	Answer(w, page)
}
