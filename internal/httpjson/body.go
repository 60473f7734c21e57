package httpjson

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"os"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
)

const (
	// maxBodyBytes is the largest body of a call with one request. As JSON a request
	// is up to twice as large as what rpc takes of it.
	maxBodyBytes = 32 << 20
	// maxStreamBytes is the same for all requests of a stream together: an attachment of
	// 20 MiB in base64 has 27 MiB.
	maxStreamBytes = 64 << 20
	// maxMessageBytes bounds one message, also one of the server's.
	maxMessageBytes = maxStreamBytes
	// smallBytes is the size from which on a body is large, and mostLarge how many such
	// are taken at a time: who calls is known only when the body has been read.
	smallBytes = 1 << 20
	mostLarge  = 8
)

// bodyTime and streamTime are how long a body may take to come.
var bodyTime, streamTime = time.Minute, 10 * time.Minute

// mediaType is the type without its parameters; empty for one that is none, or for text
// in another encoding than UTF-8, which alone JSON has (RFC 8259, section 8.1).
func mediaType(header string) string {
	t, parameters, err := mime.ParseMediaType(header)
	if charset := parameters["charset"]; err != nil || charset != "" && !strings.EqualFold(charset, "utf-8") {
		return ""
	}
	return t
}

// openBody bounds a body in size and time, and unpacks it.
func openBody(w http.ResponseWriter, r *http.Request, m method) (status int, problem string) {
	limit, patience := int64(maxBodyBytes), bodyTime
	if m.stream() {
		limit, patience = maxStreamBytes, streamTime
	}
	if r.ContentLength > limit {
		return http.StatusRequestEntityTooLarge, tooLarge
	}
	if r.ContentLength != 0 {
		control := http.NewResponseController(w)
		_ = control.SetReadDeadline(time.Now().Add(patience)) // what has no deadlines is not a connection
		r.Body = &timedBody{r.Body, control}
	}
	switch strings.ToLower(r.Header.Get("Content-Encoding")) {
	case "", "identity":
	case "gzip":
		packed := http.MaxBytesReader(w, r.Body, limit)
		unpacked, err := gzip.NewReader(packed)
		if err != nil {
			return http.StatusBadRequest, "the body is not in the gzip that Content-Encoding says"
		}
		r.Body = struct {
			io.Reader
			io.Closer
		}{unpacked, packed}
		r.ContentLength = -1
	default:
		return http.StatusUnsupportedMediaType, "send the body as it is, or with Content-Encoding gzip"
	}
	r.Header.Del("Content-Encoding")
	// Counted after unpacking: a small body may hold a large one.
	r.Body = http.MaxBytesReader(w, r.Body, limit)
	return 0, ""
}

const tooLarge = "the body is too large: at most 32 MiB are taken, 64 MiB in a stream"

// timedBody lifts the bound of time when the body has been read: on HTTP/1.1 the same
// connection tells, while the call is answered, whether the client is still there.
type timedBody struct {
	io.ReadCloser
	control *http.ResponseController
}

func (b *timedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if errors.Is(err, io.EOF) { // otherwise the rest, which nobody reads, is not waited for
		_ = b.control.SetReadDeadline(time.Time{})
	}
	return n, err
}

// wrongBody is why a body is not taken.
type wrongBody struct {
	status        int
	code, message string
}

// read takes the whole body, and looks at each request in it before the call begins:
// the server would take one that breaks off for its own fault. done is to be called
// when the call has ended.
func (h *handler) read(r *http.Request, m method) (body []byte, done func(), wrong *wrongBody) {
	done = func() {}
	defer func() {
		if wrong != nil {
			done()
		}
	}()
	body, err := io.ReadAll(io.LimitReader(r.Body, smallBytes))
	if err == nil && len(body) == smallBytes {
		select {
		case h.large <- struct{}{}:
			done = func() { <-h.large }
		default:
			return nil, done, &wrongBody{http.StatusServiceUnavailable, "unavailable", "too many large requests are on their way; try again"}
		}
		whole := bytes.NewBuffer(body)
		_, err = whole.ReadFrom(r.Body)
		body = whole.Bytes()
	}
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return nil, done, &wrongBody{http.StatusRequestEntityTooLarge, codeOf(http.StatusRequestEntityTooLarge), tooLarge}
	case errors.Is(err, os.ErrDeadlineExceeded):
		return nil, done, &wrongBody{http.StatusRequestTimeout, "deadline_exceeded", "the body came too slowly"}
	case err != nil:
		return nil, done, invalid("the body can't be read: " + err.Error())
	}
	requests, wrong := split(body, m)
	if wrong == nil && m.stream() {
		body = framed(requests)
	}
	return body, done, wrong
}

// split parts the JSON values of a body, and reads each as the method's request.
func split(body []byte, m method) ([]json.RawMessage, *wrongBody) {
	var requests []json.RawMessage
	for values := json.NewDecoder(bytes.NewReader(body)); ; {
		var value json.RawMessage
		err := values.Decode(&value)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, invalid("the body is not JSON: " + err.Error())
		}
		// The texts of these errors differ from run to run in their spaces.
		if err := protojson.Unmarshal(value, m.request.New().Interface()); err != nil {
			text := strings.ReplaceAll(err.Error(), "\u00a0", " ")
			return nil, invalid("the body is not a " + string(m.request.Descriptor().Name()) + ": " + strings.TrimPrefix(text, "proto: "))
		}
		requests = append(requests, value)
	}
	switch {
	case m.client || len(requests) == 1:
		return requests, nil
	case len(requests) == 0:
		return nil, invalid("the body is empty; send a JSON object, {} at least")
	}
	return nil, invalid("the body holds several requests, and this method takes one")
}

func invalid(message string) *wrongBody {
	return &wrongBody{http.StatusBadRequest, "invalid_argument", message}
}

// refuse answers as the Connect protocol has errors.
func refuse(w http.ResponseWriter, status int, code, message string) {
	text, _ := json.Marshal(map[string]string{"code": code, "message": message}) //nolint:errchkjson // texts
	h := w.Header()
	h.Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(text)
}

// codeOf is the code of a refused body.
func codeOf(status int) string {
	if status == http.StatusRequestEntityTooLarge {
		return "resource_exhausted"
	}
	return "invalid_argument"
}
