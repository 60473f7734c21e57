package httpjson_test

import (
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"jointledger/proto/openapi"
)

// The description names every method of the API, and every reference in it leads somewhere.
func TestTheDescriptionIsWhole(t *testing.T) {
	var document struct {
		OpenAPI    string
		Paths      map[string]map[string]struct{ Description string }
		Components struct{ Schemas map[string]struct{ Type any } }
	}
	if err := json.Unmarshal(openapi.Document, &document); err != nil {
		t.Fatal(err)
	}
	if document.OpenAPI != "3.1.0" {
		t.Errorf("OpenAPI %s", document.OpenAPI)
	}
	methods := 0
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				if f.Package() != "jointledger.v1" {
					continue
				}
				methods++
				path := "/" + string(s.FullName()) + "/" + string(s.Methods().Get(j).Name())
				if document.Paths[path]["post"].Description == "" {
					t.Errorf("%s is not described", path)
				}
			}
		}
		return true
	})
	if methods < 100 || len(document.Paths) != methods {
		t.Errorf("%d paths for %d methods", len(document.Paths), methods)
	}
	for _, part := range strings.Split(string(openapi.Document), `"$ref": "`)[1:] {
		target, _, _ := strings.Cut(part, `"`)
		name, ok := strings.CutPrefix(target, "#/components/schemas/")
		if schema := document.Components.Schemas[name]; !ok || schema.Type == nil {
			t.Fatalf("%s leads nowhere", target)
		}
	}
}
