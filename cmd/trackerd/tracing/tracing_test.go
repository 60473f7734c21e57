package tracing

import "testing"

func TestTracesAreOffUnlessAskedFor(t *testing.T) {
	for _, c := range []struct {
		env  map[string]string
		want bool
	}{
		{nil, false},
		{map[string]string{"OTEL_SERVICE_NAME": "yard", "OTEL_TRACES_SAMPLER": "always_on"}, false},
		{map[string]string{"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:4318"}, true},
		{map[string]string{"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": "http://127.0.0.1:4318/v1/traces"}, true},
		{map[string]string{"OTEL_TRACES_EXPORTER": "otlp"}, true},
		{map[string]string{"OTEL_TRACES_EXPORTER": "none", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:4318"}, false},
		{map[string]string{"OTEL_SDK_DISABLED": "true", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:4318"}, false},
	} {
		if got := Wanted(func(name string) string { return c.env[name] }); got != c.want {
			t.Errorf("%v: %t; expected %t", c.env, got, c.want)
		}
	}
}
