package service_test

import (
	"testing"
	"time"

	pb "jointledger/proto/jointledger/v1"
)

// A client tells by this whether the two understand each other and whether its own
// clock is right.
func TestGetServer(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		got := must[*pb.Server](t)(c.server.GetServer(t.Context(), &pb.GetServerRequest{}))
		if got.GetApiMajor() != 1 || got.GetApiRevision() < 1 {
			t.Errorf("API %d.%d", got.GetApiMajor(), got.GetApiRevision())
		}
		if at := got.GetServerTime().AsTime(); !at.Equal(now) {
			t.Errorf("server time %s, expected %s", at.Format(time.RFC3339), now.Format(time.RFC3339))
		}
		if got.GetVersion() == "" || got.GetTokenRequired() {
			t.Errorf("version %q, token required %v", got.GetVersion(), got.GetTokenRequired())
		}
		engine := map[string]string{"TestGetServer/sqlite": "sqlite", "TestGetServer/postgres": "postgresql"}[t.Name()]
		if got.GetEngine() != engine {
			t.Errorf("engine %q in %s", got.GetEngine(), t.Name())
		}
	})
}
