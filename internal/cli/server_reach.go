package cli

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// reachTime is how long a server may take to say who it is.
const reachTime = 5 * time.Second

// reached is a server that answered, whatever it said.
type reached struct {
	// server is what it tells of itself; nil when it told nothing.
	server *pb.Server
	// latency is how long the call took there and back, connecting included; middle is
	// the moment on this device's clock in the middle of the call.
	latency time.Duration
	middle  time.Time
	// wantsToken: it refused the token, or asks for one. denied: it knows whose the token
	// is, who may do nothing there. old: it does not know the call. why is what it said.
	wantsToken, denied, old bool
	why                     string
}

// reach asks the server who it is. It fails when no server of ours answered in time.
func (a *app) reach(ctx context.Context) (reached, error) {
	conn, err := a.dial()
	if err != nil {
		return reached{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, min(reachTime, a.settings.timeout))
	defer cancel()
	begun := a.now()
	got, err := pb.NewServerServiceClient(conn).GetServer(ctx, &pb.GetServerRequest{})
	latency := a.now().Sub(begun)
	r := reached{server: got, latency: latency, middle: begun.Add(latency / 2)}
	switch status.Code(err) {
	case codes.OK:
		return r, nil
	case codes.Unauthenticated:
		r.wantsToken, r.why = true, status.Convert(err).Message()
		return r, nil
	case codes.PermissionDenied:
		r.denied, r.why = true, status.Convert(err).Message()
		return r, nil
	case codes.Unimplemented:
		r.old = true
		return r, nil
	case codes.DeadlineExceeded:
		return r, &failure{code: exitUnavailable, message: fmt.Sprintf("the server at %s did not answer within %s", a.settings.server, min(reachTime, a.settings.timeout))}
	default: // the others go on below
	}
	return r, a.callFailure(err, nil)
}

// redial forgets the connection, so that the next call uses what the settings say now.
func (a *app) redial() {
	if a.conn != nil {
		// Nothing is under way on it.
		_ = a.conn.Close()
		a.conn = nil
	}
}

// compatibility says whether this program and a server understand each other, and
// which of the two is older.
func compatibility(s *pb.Server) (sentence string, understood, same bool) {
	api := fmt.Sprintf("API %d.%d", s.GetApiMajor(), s.GetApiRevision())
	ours := fmt.Sprintf("%d.%d", pb.APIMajor, pb.APIRevision)
	switch {
	case s.GetApiMajor() > pb.APIMajor:
		return fmt.Sprintf("the server speaks %s and this trackctl %s: this trackctl is too old for it", api, ours), false, false
	case s.GetApiMajor() < pb.APIMajor:
		return fmt.Sprintf("the server speaks %s and this trackctl %s: the server is too old for it", api, ours), false, false
	case s.GetApiRevision() < pb.APIRevision:
		return fmt.Sprintf("the server speaks %s and this trackctl %s: the server is older, and some commands may ask for what it does not know", api, ours), true, false
	case s.GetApiRevision() > pb.APIRevision:
		return fmt.Sprintf("the server speaks %s and this trackctl %s: this trackctl is older, and does not know all that the server can do", api, ours), true, false
	}
	return "both speak " + api, true, true
}
