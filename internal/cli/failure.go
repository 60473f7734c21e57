package cli

import (
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// callFailure reads what a call to the server ended with. The names give the flag
// or argument of each field of the API.
func (a *app) callFailure(err error, names map[string]string) *failure {
	st, ok := status.FromError(err)
	if !ok {
		return &failure{code: exitIO, message: err.Error()}
	}
	f := &failure{code: codeOf(st.Code()), message: st.Message()}
	fromServer := false
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			fromServer = true
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				f.lines = append(f.lines, fieldLine(v.GetField(), v.GetDescription(), names))
			}
		case *errdetails.RequestInfo:
			f.lines = append(f.lines, "request id "+d.GetRequestId()+": it finds the fault in the server's log")
		case *errdetails.RetryInfo:
			f.lines = append(f.lines, fmt.Sprintf("try again in %s", d.GetRetryDelay().AsDuration()))
		}
	}
	switch {
	case st.Code() == codes.Unauthenticated && fromServer:
		if strings.Contains(f.message, "header `authorization") { // which is for programs to read
			f.message = a.tokenAsked()
		}
		f.lines = append(f.lines, tokenRemedy)
	case fromServer:
	case otherProgram(st.Message()) != "":
		f.code, f.message = exitUnavailable, fmt.Sprintf("the server at %s answers, but is no trackerd, or something stands between (%s)", a.settings.server, otherProgram(st.Message()))
		f.lines = append(f.lines, "name another with --server or "+envServer)
	case st.Code() == codes.Unavailable:
		if problem := a.lineProblem(st.Message()); problem != "" {
			f.message = problem
			break
		}
		f.message = fmt.Sprintf("the server at %s can't be reached (%s)", a.settings.server, lastPart(st.Message()))
		f.lines = append(f.lines, "is `trackerd serve` running there? name another with --server or "+envServer)
	case st.Code() == codes.DeadlineExceeded:
		f.message = fmt.Sprintf("the server at %s did not answer within %s", a.settings.server, a.settings.timeout)
		f.lines = append(f.lines, "give it longer with --timeout")
	case st.Code() == codes.Unimplemented:
		f.message = fmt.Sprintf("the server at %s does not know this call; it is older than this trackctl, or not trackerd", a.settings.server)
	}
	return f
}

// tokenRemedy says how a device comes to have a token that the server accepts.
const tokenRemedy = "give a token that holds with --token-file or trackctl setup"

// tokenAsked says that a server asks for what this device does not show.
func (a *app) tokenAsked() string {
	said := fmt.Sprintf("the server at %s asks for a token", a.settings.server)
	if a.settings.tokenFile == "" && a.settings.typedToken == "" {
		said += ", and none is named on this device"
	}
	return said
}

// otherProgram tells from what the library says of an answer that it was not one of a
// gRPC server, in a few words; empty where it may have been.
func otherProgram(message string) string {
	for _, mark := range []string{"unexpected HTTP status code received from server: ", "malformed header: "} {
		if _, rest, ok := strings.Cut(message, mark); ok {
			rest, _, _ = strings.Cut(rest, ";")
			if strings.HasPrefix(mark, "unexpected") {
				return "HTTP status " + rest
			}
			return rest
		}
	}
	return ""
}

// lineProblem says, in one sentence, that the line to the server could not be secured;
// empty when something else is the reason.
func (a *app) lineProblem(message string) string {
	switch {
	case !a.settings.line.secured() && beforeItBegan(message) && endedAtOnce(message):
		return fmt.Sprintf("the server at %s takes the line and ends it at once: it is another program, or is being stopped, or has a certificate (then say --tls)", a.settings.server)
	case !a.settings.line.secured() && strings.Contains(message, "server preface"):
		return fmt.Sprintf("the server at %s answers, but not as a trackerd without TLS does: it is another program, or has a certificate (then say --tls)", a.settings.server)
	case a.settings.line.secured() && strings.Contains(message, "remote error: tls:"):
		return fmt.Sprintf("the server at %s does not accept this device's certificate: %s", a.settings.server, lastPart(message))
	case a.settings.line.clientCert != "" && endedAtOnce(message):
		// The server's word was lost when it closed the connection.
		return fmt.Sprintf("the server at %s ended the line, as it does where it does not accept this device's certificate; trackctl doctor tells", a.settings.server)
	case a.settings.line.secured() && (beforeItBegan(message) || a.line.mute()) && endedAtOnce(message):
		return fmt.Sprintf("the server at %s takes the line and ends it at once: it is being stopped, or asks for a certificate of this device, or is another program; trackctl doctor tells", a.settings.server)
	case a.settings.line.secured() && (strings.Contains(message, "server preface") || strings.Contains(message, "ALPN")):
		return fmt.Sprintf("the server at %s answers with a certificate, but not as a trackerd does: it is another program", a.settings.server)
	}
	return a.line.last()
}

// beforeItBegan says whether a line failed while it was begun: of one that broke later
// nobody can tell who is there.
func beforeItBegan(message string) bool {
	return strings.Contains(message, "preface") || strings.Contains(message, "initial settings") || strings.Contains(message, "window update")
}

// endedAtOnce says whether the other side ended a line without a word.
func endedAtOnce(message string) bool {
	return strings.Contains(message, "broken pipe") || strings.Contains(message, "reset by peer") || strings.Contains(message, "connection closed") || strings.HasSuffix(strings.TrimSuffix(message, `"`), "EOF")
}

// lastPart is the end of a chain of causes.
func lastPart(message string) string {
	message = strings.TrimSuffix(message, `"`)
	if i := strings.LastIndex(message, ": "); i >= 0 {
		message = message[i+2:]
	}
	return message
}

func codeOf(code codes.Code) int {
	switch code {
	case codes.InvalidArgument, codes.AlreadyExists, codes.FailedPrecondition, codes.OutOfRange:
		return exitData
	case codes.NotFound:
		return exitUnknown
	case codes.Unavailable:
		return exitUnavailable
	case codes.Aborted, codes.ResourceExhausted, codes.DeadlineExceeded:
		return exitTryAgain
	case codes.Unauthenticated, codes.PermissionDenied:
		return exitDenied
	case codes.Canceled:
		return exitInterrupted
	default: // the others go on below
	}
	return exitInternal
}

// refused reads the refusal of one record.
func refused(r *pb.Refusal, names map[string]string) *failure {
	f := &failure{code: exitData, message: r.GetMessage()}
	switch r.GetReason() {
	case pb.ErrorReason_ERROR_REASON_UNKNOWN_RESOURCE:
		f.code = exitUnknown
	case pb.ErrorReason_ERROR_REASON_UNAUTHENTICATED, pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED:
		f.code = exitDenied
	case pb.ErrorReason_ERROR_REASON_STORE_UNAVAILABLE:
		f.code = exitUnavailable
	case pb.ErrorReason_ERROR_REASON_CONFLICT, pb.ErrorReason_ERROR_REASON_LIMIT_EXCEEDED:
		f.code = exitTryAgain
	case pb.ErrorReason_ERROR_REASON_INTERNAL:
		f.code = exitInternal
	default: // the others go on below
	}
	for _, v := range r.GetFieldViolations() {
		f.lines = append(f.lines, fieldLine(v.GetField(), v.GetDescription(), names))
	}
	return f
}

// fieldLine says what is wrong with a field, by the flag that gives it where one
// does.
func fieldLine(field, description string, names map[string]string) string {
	path := field
	for {
		if n, ok := names[path]; ok {
			return n + ": " + description
		}
		_, rest, more := strings.Cut(path, ".")
		if !more {
			return field + ": " + description
		}
		path = rest
	}
}
