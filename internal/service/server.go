package service

import (
	"context"
	"runtime/debug"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// GetServer tells about this server.
func (s serverService) GetServer(ctx context.Context, _ *pb.GetServerRequest) (*pb.Server, error) {
	caller, _ := access.From(ctx)
	answer := &pb.Server{
		Version:     buildVersion(),
		ApiMajor:    pb.APIMajor,
		ApiRevision: pb.APIRevision,
		ServerTime:  timestamppb.New(ledger.Microseconds(s.now())),
		Engine:      s.store.EngineName(),
		// Who got here without a token got here because none is asked for.
		TokenRequired: caller != access.Local,
		Principal:     caller.Name,
	}
	for _, g := range caller.Grants {
		one := &pb.PrincipalGrant{Role: g.Role.String(), Everywhere: g.Everywhere}
		for _, site := range g.Sites {
			one.Sites = append(one.Sites, "sites/"+site)
		}
		answer.Grants = append(answer.Grants, one)
	}
	return answer, nil
}

// buildVersion is what the Go tool wrote into the program: the module's version, or
// the commit where it has none.
func buildVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return "devel " + s.Value
		}
	}
	return "devel"
}
