package plain

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

// Embedded has a field.
type Embedded struct {
	X int `json:"x"`
}

// TestJSON: no words of Go, and the field is named.
func TestJSON(t *testing.T) {
	var into struct {
		Gain  float64  `json:"gain"`
		Bits  int      `json:"bits"`
		Small uint8    `json:"small"`
		On    *bool    `json:"on"`
		Name  string   `json:"name"`
		IDs   []string `json:"ids"`
		Part  struct {
			Embedded
		} `json:"part"`
		Map map[string]int `json:"map"`
	}
	for text, want := range map[string]string{
		`{"gain":"5"}`:       `field "gain" is text: give a number`,
		`{"bits":1.5}`:       `field "bits" is 1.5: give a whole number`,
		`{"bits":1e400}`:     `field "bits" is 1e400: give a whole number`,
		`{"small":-1}`:       `field "small" is -1: give a whole number from 0`,
		`{"on":1}`:           `field "on" is a number: give true or false`,
		`{"name":7}`:         `field "name" is a number: give text in quotes`,
		`{"ids":"a"}`:        `field "ids" is text: give a list [ … ]`,
		`{"part":[1]}`:       `field "part" is a list: give an object { … }`,
		`{"part":{"x":"a"}}`: `field "part.x" is text: give a whole number`,
		`{"map":true}`:       `field "map" is true or false: give an object { … }`,
		`[1]`:                `it is a list: give an object { … }`,
		`{"gain":`:           `it breaks off: the end is missing`,
		``:                   `it is empty`,
		`{gain:5}`:           `it is no JSON from its byte 2 on`,
		`{"nobody":5}`:       `field "nobody" is not known: leave it out`,
	} {
		d := json.NewDecoder(bytes.NewReader([]byte(text)))
		d.DisallowUnknownFields()
		err := d.Decode(&into)
		if err == nil {
			t.Errorf("%s is read", text)
			continue
		}
		got := JSON(err)
		if got != want || strings.Contains(got, "Go ") {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}
