package store_test

import (
	"net"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// A PostgreSQL that takes a connection and says nothing is away; that the time to connect
// is over is no caller's deadline.
func TestAConnectionThatIsNotAnswered(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, err = pgconn.Connect(t.Context(), "postgres://jl@"+l.Addr().String()+"/postgres?sslmode=disable&connect_timeout=1")
	if err == nil {
		t.Fatal("there is a connection to nobody")
	}
	wantError(t, new(store.Store).Fault(err), ledger.KindUnavailable, ledger.ReasonStoreUnavailable, "the database can't be used now (it does not answer); try again")
}
