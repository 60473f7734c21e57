package rpc_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// stray is a service that has one method.
func stray(name string) *grpc.ServiceDesc {
	return &grpc.ServiceDesc{ServiceName: name, HandlerType: (*any)(nil), Methods: []grpc.MethodDesc{{MethodName: "Do"}}}
}

// define makes a service of one method known to the registry of definitions.
func define(t *testing.T, service string, options *descriptorpb.MethodOptions) {
	t.Helper()
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String(service + ".proto"), Package: proto.String("jointledger.v1"), Syntax: proto.String("proto3"),
		Dependency: []string{"jointledger/v1/server.proto"},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto.String(service), Method: []*descriptorpb.MethodDescriptorProto{{
			Name: proto.String("Do"), InputType: proto.String(".jointledger.v1.GetServerRequest"), OutputType: proto.String(".jointledger.v1.Server"), Options: options,
		}}}},
	}, protoregistry.GlobalFiles)
	if err != nil {
		t.Fatal(err)
	}
	if err := protoregistry.GlobalFiles.RegisterFile(file); err != nil {
		t.Fatal(err)
	}
}

// A server does not start with a method of which the API does not say what it takes.
func TestAServerRefusesToStartWithAMethodForNobody(t *testing.T) {
	taking := func(a pb.Action) *descriptorpb.MethodOptions {
		o := &descriptorpb.MethodOptions{}
		proto.SetExtension(o, pb.E_Action, a)
		return o
	}
	define(t, "SilentService", nil)
	define(t, "VagueService", taking(pb.Action_ACTION_UNSPECIFIED))
	define(t, "LaterService", taking(200))
	define(t, "SoundService", taking(pb.Action_ACTION_READ))
	for service, want := range map[string]string{
		"jointledger.v1.UndefinedService": "/jointledger.v1.UndefinedService/Do is not in the API's definition",
		"jointledger.v1.SilentService":    "/jointledger.v1.SilentService/Do does not say which action it takes",
		"jointledger.v1.VagueService":     "/jointledger.v1.VagueService/Do does not say which action it takes",
		"jointledger.v1.LaterService":     "/jointledger.v1.LaterService/Do does not say which action it takes",
		"jointledger.v1.SoundService":     "",
	} {
		s, err := rpc.NewServer(rpc.Config{Authenticate: rpc.EverybodyIsLocal, Register: func(r grpc.ServiceRegistrar) {
			r.RegisterService(stray(service), nil)
		}})
		if err == nil {
			s.Stop(t.Context())
		}
		switch {
		case want == "" && err != nil:
			t.Errorf("%s: %v", service, err)
		case want != "" && (err == nil || !strings.Contains(err.Error(), want)):
			t.Errorf("%s: %v; expected that %s", service, err, want)
		}
	}
}

func TestAServerRefusesToStartWhenNobodyIsAskedWhoTheyAre(t *testing.T) {
	_, err := rpc.NewServer(rpc.Config{Register: func(grpc.ServiceRegistrar) {}})
	if err == nil || !strings.Contains(err.Error(), "how callers say who they are") {
		t.Errorf("%v", err)
	}
}
