package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"google.golang.org/protobuf/compiler/protogen"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/pluginpb"
)

func main() {
	protogen.Options{}.Run(func(p *protogen.Plugin) error {
		p.SupportedFeatures = uint64(pluginpb.CodeGeneratorResponse_FEATURE_PROTO3_OPTIONAL)
		text, err := document(p.Files)
		if err != nil {
			return err
		}
		_, err = p.NewGeneratedFile("openapi/openapi.json", "").Write(text)
		return err
	})
}

// object is a JSON object; its keys come out in order.
type object = map[string]any

// description collects what the methods speak of.
type description struct {
	paths   object
	tags    []object
	schemas object
	todo    []protoreflect.Descriptor
	text    map[protoreflect.FullName]string
}

// document describes every service of the files.
func document(files []*protogen.File) ([]byte, error) {
	d := &description{paths: object{}, schemas: object{}, text: map[protoreflect.FullName]string{}}
	for _, f := range files {
		d.readComments(f)
	}
	for _, f := range files {
		for _, s := range f.Services {
			if f.Generate {
				d.service(s)
			}
		}
	}
	for len(d.todo) > 0 {
		next := d.todo[0]
		d.todo = d.todo[1:]
		if m, ok := next.(protoreflect.MessageDescriptor); ok {
			d.schemas[name(m)] = d.message(m)
		} else if e, ok := next.(protoreflect.EnumDescriptor); ok {
			d.schemas[name(e)] = d.enum(e)
		}
	}
	d.schemas["Error"] = errorSchema()
	text, err := json.MarshalIndent(object{
		"openapi": "3.1.0",
		"info":    object{"title": "jointledger", "version": "v1", "description": about},
		"paths":   d.paths, "tags": d.tags,
		"security":   []object{{"bearer": []string{}}, {}},
		"components": object{"schemas": d.schemas, "securitySchemes": object{"bearer": object{"type": "http", "scheme": "bearer"}}},
	}, "", " ")
	if err != nil {
		return nil, err
	}
	return append(text, '\n'), nil
}

const about = "Every method is called with POST and a JSON object. A field that is left out has its zero value; one that does not exist is refused. " +
	"64-bit integers are given as strings and taken as strings or numbers (ProtoJSON). " +
	"A stream is lines of JSON, application/x-ndjson; the last may be an error, {\"error\": …}."

// readComments keeps the comments of a file, by what they stand at.
func (d *description) readComments(f *protogen.File) {
	var messages func([]*protogen.Message)
	enums := func(all []*protogen.Enum) {
		for _, e := range all {
			d.comment(e.Desc, e.Comments)
			for _, v := range e.Values {
				d.comment(v.Desc, v.Comments)
			}
		}
	}
	messages = func(all []*protogen.Message) {
		for _, m := range all {
			d.comment(m.Desc, m.Comments)
			for _, f := range m.Fields {
				d.comment(f.Desc, f.Comments)
			}
			enums(m.Enums)
			messages(m.Messages)
		}
	}
	enums(f.Enums)
	messages(f.Messages)
}

func (d *description) comment(of protoreflect.Descriptor, c protogen.CommentSet) {
	d.text[of.FullName()] = plain(c)
}

// plain joins the lines of a comment; an empty one parts paragraphs.
func plain(c protogen.CommentSet) string {
	var paragraphs []string
	for p := range strings.SplitSeq(string(c.Leading), "\n\n") {
		if p = strings.Join(strings.Fields(p), " "); p != "" {
			paragraphs = append(paragraphs, p)
		}
	}
	return strings.Join(paragraphs, "\n\n")
}

func (d *description) service(s *protogen.Service) {
	d.tags = append(d.tags, object{"name": string(s.Desc.Name()), "description": plain(s.Comments)})
	for _, m := range s.Methods {
		in, out := m.Desc.IsStreamingClient(), m.Desc.IsStreamingServer()
		answer := d.reference(m.Output.Desc)
		if out {
			answer = object{"anyOf": []object{answer, {"type": "object", "required": []string{"error"}, "properties": object{"error": object{"$ref": schemaPath + "Error"}}}}}
		}
		d.paths[fmt.Sprintf("/%s/%s", s.Desc.FullName(), m.Desc.Name())] = object{"post": object{
			"operationId": fmt.Sprintf("%s_%s", s.Desc.Name(), m.Desc.Name()),
			"tags":        []string{string(s.Desc.Name())},
			"description": plain(m.Comments),
			"requestBody": object{"required": true, "content": content(in, d.reference(m.Input.Desc))},
			"responses": object{
				"200":     object{"description": answerText(out), "content": content(out, answer)},
				"default": object{"description": "The call failed.", "content": content(false, object{"$ref": schemaPath + "Error"})},
			},
		}}
	}
}

func answerText(stream bool) string {
	if stream {
		return "The answer, a JSON object a line; a last line with an error where it broke off."
	}
	return "The answer."
}

func content(stream bool, schema object) object {
	if stream {
		return object{"application/x-ndjson": object{"schema": schema}}
	}
	return object{"application/json": object{"schema": schema}}
}

const schemaPath = "#/components/schemas/"

// name is the schema's: within the package, as long as there is one.
func name(of protoreflect.Descriptor) string {
	full := strings.TrimPrefix(string(of.FullName()), string(of.ParentFile().Package())+".")
	return strings.ReplaceAll(full, ".", "_")
}

func (d *description) reference(of protoreflect.Descriptor) object {
	if known := wellKnown(of.FullName()); known != nil {
		return known
	}
	n := name(of)
	if _, seen := d.schemas[n]; !seen {
		d.schemas[n] = nil
		d.todo = append(d.todo, of)
	}
	return object{"$ref": schemaPath + n}
}
