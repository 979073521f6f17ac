package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-playground/validator/v10"
	"github.com/labstack/echo/v4"

	"brimline/api"
	"brimline/schema/fault"
)

// maxDepth bounds how deep arrays and objects may be nested.
const maxDepth = 32

// reader reads requests into the types of package api and checks their shape.
type reader struct{ validate *validator.Validate }

func newReader() *reader {
	v := validator.New(validator.WithRequiredStructEnabled())
	v.RegisterTagNameFunc(func(f reflect.StructField) string { // faults name the JSON field
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		return name
	})
	return &reader{validate: v}
}

// body reads one JSON value, no more, of at most api.MaxBodyBytes.
//
// Faults: media.type, body.large, json.malformed, json.type or a code of
// checkShape. Members nobody knows are passed over; newer apps may send them.
func (r *reader) body(c echo.Context, into any) error {
	req := c.Request()
	media, _, err := mime.ParseMediaType(req.Header.Get(echo.HeaderContentType))
	if err != nil || media != "application/json" {
		return fault.Bad("media.type", "", "send the body as application/json")
	}
	if req.ContentLength > api.MaxBodyBytes {
		return errLarge
	}
	raw, err := io.ReadAll(http.MaxBytesReader(c.Response(), req.Body, api.MaxBodyBytes))
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return errLarge
	case err != nil: // the connection broke; there is nobody left to read the answer
		return fault.Bad("json.malformed", "", "the request ended early")
	}
	if err := checkText(raw); err != nil {
		return err
	}
	if err := decode(raw, into); err != nil {
		return err
	}
	return r.checkShape(into)
}

// decode decodes one JSON value and refuses text after it.
func decode(raw []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(raw))
	err := d.Decode(into)
	var wrong *json.UnmarshalTypeError
	switch {
	case errors.As(err, &wrong):
		return fault.Bad("json.type", wrong.Field, "must not be a "+wrong.Value)
	case err != nil:
		return fault.Bad("json.malformed", "", "is not JSON: "+err.Error())
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return fault.Bad("json.malformed", "", "there is more after the JSON value")
	}
	return nil
}

// checkText refuses what a decoder would mend without a word, or could be made
// to recurse into without end.
func checkText(raw []byte) error {
	if !utf8.Valid(raw) {
		return fault.Bad("json.malformed", "", "is not UTF-8")
	}
	depth, quoted, escaped := 0, false, false
	for _, b := range raw {
		switch {
		case escaped:
			escaped = false
		case quoted:
			escaped, quoted = b == '\\', b != '"'
		case b == '"':
			quoted = true
		case b == '{' || b == '[':
			if depth++; depth > maxDepth {
				return fault.Bad("json.malformed", "", "is nested more than "+strconv.Itoa(maxDepth)+" levels deep")
			}
		case b == '}' || b == ']':
			depth--
		}
	}
	return nil
}

// query reads query parameters into the fields tagged `query`.
func (r *reader) query(c echo.Context, into any) error {
	if err := (&echo.DefaultBinder{}).BindQueryParams(c, into); err != nil {
		return fault.Bad("field.form", "query", "a parameter does not have its form; see /api/v1/openapi.yaml")
	}
	return r.checkShape(into)
}

// checkShape applies the `validate` tags. The code of a fault is field. and the tag.
func (r *reader) checkShape(value any) error {
	err := r.validate.Struct(value)
	var faults validator.ValidationErrors
	switch {
	case err == nil:
		return nil
	case errors.As(err, &faults) && len(faults) > 0:
		f := faults[0]
		_, path, _ := strings.Cut(f.Namespace(), ".")
		return fault.Bad("field."+f.Tag(), path, remedy(f))
	}
	return fmt.Errorf("check shape of %T: %w", value, err)
}

func remedy(f validator.FieldError) string {
	switch f.Tag() {
	case "required":
		return "is missing"
	case "max":
		return "is too long or too large; at most " + f.Param()
	case "min":
		return "is too small; at least " + f.Param()
	case "eq":
		return "must be " + f.Param()
	case "uuid":
		return "must be a UUID in lower-case letters"
	}
	return "does not have its form"
}
