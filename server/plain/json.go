// Package plain says in plain words what libraries say in a programmer's.
package plain

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
)

// JSON says what is wrong with a JSON text: the field, what it is and what it must be.
func JSON(err error) string {
	var kind *json.UnmarshalTypeError
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &kind):
		what := "a number"
		if name, number, ok := strings.Cut(kind.Value, " "); ok && name == "number" {
			what = number // a number that does not fit
		} else if name != "number" {
			what = named(kind.Value)
		}
		where := "it"
		if field := sent(kind.Field); field != "" {
			where = fmt.Sprintf("field %q", field)
		}
		return fmt.Sprintf("%s is %s: give %s", where, what, wanted(kind.Type))
	case errors.As(err, &syntax):
		return fmt.Sprintf("it is no JSON from its byte %d on", syntax.Offset)
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "it breaks off: the end is missing"
	case errors.Is(err, io.EOF):
		return "it is empty"
	}
	text := strings.TrimPrefix(err.Error(), "json: ")
	if name, ok := strings.CutPrefix(text, "unknown field "); ok {
		return fmt.Sprintf("field %s is not known: leave it out", name)
	}
	return text
}

// sent is a field's path as it is sent: without the names of embedded types, which begin with a
// capital letter, as no name of ours does.
func sent(path string) string {
	parts := strings.Split(path, ".")
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p != "" && p[0] >= 'A' && p[0] <= 'Z' }), ".")
}

func named(value string) string {
	switch value {
	case "bool":
		return "true or false"
	case "array":
		return "a list"
	case "object":
		return "an object"
	case "string":
		return "text"
	default:
		return value
	}
}

// wanted says what JSON a type takes.
func wanted(t reflect.Type) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Bool:
		return "true or false"
	case reflect.Float32, reflect.Float64:
		return "a number"
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return "a whole number"
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return "a whole number from 0"
	case reflect.String:
		return "text in quotes"
	case reflect.Slice, reflect.Array:
		return "a list [ … ]"
	default:
		return "an object { … }"
	}
}
