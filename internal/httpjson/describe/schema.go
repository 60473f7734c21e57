package main

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// wellKnown gives the schema of a message that JSON has a form of its own for (ProtoJSON);
// nil for any other.
func wellKnown(n protoreflect.FullName) object {
	switch n {
	case "google.protobuf.Timestamp":
		return object{"type": "string", "format": "date-time"}
	case "google.protobuf.Duration":
		return object{"type": "string", "pattern": `^-?[0-9]+(\.[0-9]{1,9})?s$`}
	case "google.protobuf.FieldMask":
		return object{"type": "string", "description": "Names of fields, in lower camel case, separated by commas."}
	}
	return nil
}

func (d *description) message(m protoreflect.MessageDescriptor) object {
	properties := object{}
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		properties[f.JSONName()] = d.field(f)
	}
	return described(object{"type": "object", "properties": properties, "additionalProperties": false}, d.text[m.FullName()])
}

func described(schema object, text string) object {
	if text != "" {
		schema["description"] = text
	}
	return schema
}

func (d *description) field(f protoreflect.FieldDescriptor) object {
	var schema object
	switch {
	case f.IsMap():
		schema = object{"type": "object", "additionalProperties": d.value(f.MapValue())}
	case f.IsList():
		schema = object{"type": "array", "items": d.value(f)}
	default:
		schema = d.value(f)
	}
	text := d.text[f.FullName()]
	if one := f.ContainingOneof(); one != nil && !one.IsSynthetic() {
		var others []string
		for i := range one.Fields().Len() {
			if o := one.Fields().Get(i); o != f {
				others = append(others, o.JSONName())
			}
		}
		text = strings.TrimSpace(fmt.Sprintf("%s Not together with %s.", text, strings.Join(others, ", ")))
	}
	return described(schema, text)
}

func (d *description) value(f protoreflect.FieldDescriptor) object {
	switch f.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		return d.reference(f.Message())
	case protoreflect.EnumKind:
		return d.reference(f.Enum())
	case protoreflect.BoolKind:
		return object{"type": "boolean"}
	case protoreflect.StringKind:
		return object{"type": "string"}
	case protoreflect.BytesKind:
		return object{"type": "string", "contentEncoding": "base64"}
	case protoreflect.FloatKind, protoreflect.DoubleKind:
		return object{"type": "number", "format": "double"}
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return object{"type": "integer", "format": "int32"}
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return object{"type": "integer", "minimum": 0}
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return object{"type": []string{"string", "integer"}, "pattern": "^[0-9]+$"}
	}
	return object{"type": []string{"string", "integer"}, "pattern": "^-?[0-9]+$", "format": "int64"}
}

// enum lists the words, each with its meaning.
func (d *description) enum(e protoreflect.EnumDescriptor) object {
	var words, meanings []string
	for i := range e.Values().Len() {
		v := e.Values().Get(i)
		words = append(words, string(v.Name()))
		if text := d.text[v.FullName()]; text != "" {
			meanings = append(meanings, fmt.Sprintf("- `%s`: %s", v.Name(), text))
		}
	}
	return described(object{"type": "string", "enum": words}, strings.TrimSpace(d.text[e.FullName()]+"\n\n"+strings.Join(meanings, "\n")))
}

// errorSchema is the error of the Connect protocol.
func errorSchema() object {
	text := func(says string) object { return object{"type": "string", "description": says} }
	return object{
		"type": "object", "description": "Why a call failed.", "required": []string{"code"},
		"properties": object{
			"code":    text("The kind of error, a code of gRPC in lower case, such as `not_found`."),
			"message": text("What is wrong, for people."),
			"details": object{"type": "array", "description": "What is wrong, for programs.", "items": object{
				"type": "object", "required": []string{"type", "value"},
				"properties": object{
					"type":  text("Such as `google.rpc.ErrorInfo`, whose reason is a word of ErrorReason, or `google.rpc.BadRequest`, which names the fields."),
					"value": object{"type": "string", "contentEncoding": "base64", "description": "The detail in Protocol Buffers."},
					"debug": object{"type": "object", "description": "The same as JSON."},
				},
			}},
		},
	}
}
