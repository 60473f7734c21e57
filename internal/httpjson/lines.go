package httpjson

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"net/http"
)

// A stream of the Connect protocol is made of frames: a byte of flags, the length in
// four, the message. Scripts read and write lines more easily.
const (
	frameHead = 5
	endFlag   = 0x02
)

// framed makes frames of messages.
func framed(messages []json.RawMessage) []byte {
	var all []byte
	for _, m := range messages {
		all = append(all, 0)                                     // no flags
		all = binary.BigEndian.AppendUint32(all, uint32(len(m))) //nolint:gosec // a body has at most maxStreamBytes
		all = append(all, m...)
	}
	return all
}

// wireError is an error in the Connect protocol.
type wireError struct {
	Code    string          `json:"code"`
	Message string          `json:"message,omitempty"`
	Details json.RawMessage `json:"details,omitempty"`
}

// lines writes the frames of an answer as lines. The status waits for the first: a call
// that is refused outright is answered as one without a stream is.
type lines struct {
	http.ResponseWriter
	// kind is the type of the answer: a method whose requests alone are a stream gives
	// one object.
	kind    string
	pending bytes.Buffer
	begun   bool
	plain   bool // refused before there was a stream
	end     *wireError
}

// WriteHeader lets through what is no stream.
func (l *lines) WriteHeader(status int) {
	if status != http.StatusOK && !l.begun {
		l.plain = true
		l.ResponseWriter.WriteHeader(status)
	}
}

// Write takes a piece of a frame, or several.
func (l *lines) Write(p []byte) (int, error) {
	if l.plain {
		return l.ResponseWriter.Write(p)
	}
	l.pending.Write(p)
	for l.pending.Len() >= frameHead {
		head := l.pending.Bytes()[:frameHead]
		flags, n := head[0], int(binary.BigEndian.Uint32(head[1:]))
		if l.pending.Len() < frameHead+n {
			break
		}
		l.pending.Next(frameHead)
		if err := l.frame(flags, l.pending.Next(n)); err != nil {
			return 0, err
		}
	}
	return len(p), nil
}

func (l *lines) frame(flags byte, message []byte) error {
	if flags&endFlag != 0 {
		var end struct {
			Error *wireError `json:"error"`
		}
		err := json.Unmarshal(message, &end)
		l.end = end.Error
		return err
	}
	return l.line(message)
}

func (l *lines) line(message []byte) error {
	var line bytes.Buffer
	if err := json.Compact(&line, message); err != nil {
		return err
	}
	line.WriteByte('\n')
	l.begin()
	_, err := l.ResponseWriter.Write(line.Bytes())
	return err
}

func (l *lines) begin() {
	if l.begun {
		return
	}
	l.begun = true
	h := l.Header()
	h.Set("Content-Type", l.kind)
	h.Del("Connect-Accept-Encoding")
	l.ResponseWriter.WriteHeader(http.StatusOK)
}

// Flush sends what is there, once there is something.
func (l *lines) Flush() {
	if l.begun || l.plain {
		_ = http.NewResponseController(l.ResponseWriter).Flush() // the next write tells
	}
}

// Unwrap is for http.ResponseController.
func (l *lines) Unwrap() http.ResponseWriter { return l.ResponseWriter }

// finish ends the answer: with nothing more; with the error alone, under its status; or
// with a last line that has the error.
func (l *lines) finish() {
	switch {
	case l.plain:
	case l.end == nil && l.pending.Len() == 0:
		l.begin()
	case l.end == nil:
		panic(http.ErrAbortHandler) // a frame that was cut off: so is the answer
	case l.begun:
		text, _ := json.Marshal(map[string]*wireError{"error": l.end}) //nolint:errchkjson // was JSON before
		_ = l.line(text)                                               // a client that is gone is told nothing
	default:
		text, _ := json.Marshal(l.end) //nolint:errchkjson // was JSON before
		l.Header().Set("Content-Type", "application/json")
		l.Header().Del("Connect-Accept-Encoding")
		status := statusOf(l.end.Code)
		setRetryAfter(l.Header(), status, l.end)
		l.ResponseWriter.WriteHeader(status)
		_, _ = l.ResponseWriter.Write(text)
	}
}

// statusOf is the HTTP status of an error, as the Connect protocol's specification has it.
func statusOf(code string) int {
	switch code {
	case "canceled":
		return 499
	case "invalid_argument", "failed_precondition", "out_of_range":
		return http.StatusBadRequest
	case "deadline_exceeded":
		return http.StatusGatewayTimeout
	case "not_found":
		return http.StatusNotFound
	case "already_exists", "aborted":
		return http.StatusConflict
	case "permission_denied":
		return http.StatusForbidden
	case "resource_exhausted":
		return http.StatusTooManyRequests
	case "unimplemented":
		return http.StatusNotImplemented
	case "unavailable":
		return http.StatusServiceUnavailable
	case "unauthenticated":
		return http.StatusUnauthorized
	}
	return http.StatusInternalServerError
}
