package httpjson

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"
)

// retryHeader is in seconds (RFC 9110, section 10.2.3).
const retryHeader = "Retry-After"

// refusesForNow says whether a status is one that passes with time (RFC 6585, section 4;
// RFC 9110, section 15.6.4).
func refusesForNow(status int) bool {
	return status == http.StatusTooManyRequests || status == http.StatusServiceUnavailable
}

// setRetryAfter says in the header when to come again, where the error does.
func setRetryAfter(h http.Header, status int, e *wireError) {
	if !refusesForNow(status) {
		return
	}
	if wait, known := e.retryDelay(); known {
		// Whole seconds only, and never sooner than the error says.
		h.Set(retryHeader, strconv.FormatInt(max(1, int64((wait+time.Second-1)/time.Second)), 10))
	}
}

// retryDelay is what google.rpc.RetryInfo among the details says; false where there is
// none.
func (e *wireError) retryDelay() (time.Duration, bool) {
	var details []struct {
		Type  string `json:"type"`
		Value string `json:"value"` // base64, without padding as a rule (Connect protocol)
	}
	if json.Unmarshal(e.Details, &details) != nil {
		return 0, false
	}
	for _, d := range details {
		if d.Type != "google.rpc.RetryInfo" {
			continue
		}
		var info errdetails.RetryInfo
		text, err := base64.RawStdEncoding.DecodeString(strings.TrimRight(d.Value, "="))
		if err != nil || proto.Unmarshal(text, &info) != nil || info.RetryDelay == nil {
			return 0, false
		}
		return info.RetryDelay.AsDuration(), true
	}
	return 0, false
}

// retryWriter holds a refusal that passes with time back until it is whole: when to come
// again stands in its body, and must be said before it. All else goes through.
type retryWriter struct {
	http.ResponseWriter
	status int // of what is held back; 0 for nothing
	body   bytes.Buffer
}

// WriteHeader begins the answer, or holds it back.
func (w *retryWriter) WriteHeader(status int) {
	if refusesForNow(status) {
		w.status = status
		return
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write writes, or holds back.
func (w *retryWriter) Write(p []byte) (int, error) {
	if w.status != 0 {
		return w.body.Write(p)
	}
	return w.ResponseWriter.Write(p)
}

// Flush sends what is not held back.
func (w *retryWriter) Flush() {
	if w.status == 0 {
		_ = http.NewResponseController(w.ResponseWriter).Flush() // the next write tells
	}
}

// Unwrap is for http.ResponseController.
func (w *retryWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// finish sends what was held back.
func (w *retryWriter) finish() {
	if w.status == 0 {
		return
	}
	var e wireError
	if json.Unmarshal(w.body.Bytes(), &e) == nil {
		setRetryAfter(w.Header(), w.status, &e)
	}
	w.ResponseWriter.WriteHeader(w.status)
	_, _ = w.ResponseWriter.Write(w.body.Bytes()) // a client that is gone is told nothing
}
