package service

import (
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// Services are the API's services over one store.
type Services struct {
	store *store.Store
	// now is the clock for questions that are asked "as of now".
	now func() time.Time
}

// New makes the services. now is the clock for questions that name no moment;
// time.Now when nil.
func New(s *store.Store, now func() time.Time) *Services {
	if now == nil {
		now = time.Now
	}
	return &Services{store: s, now: now}
}

// Register adds every service to a server.
func (s *Services) Register(r grpc.ServiceRegistrar) {
	pb.RegisterStructureServiceServer(r, structureService{Services: s})
	pb.RegisterSpecificationServiceServer(r, specificationService{Services: s})
	pb.RegisterLotServiceServer(r, lotService{Services: s})
	pb.RegisterToolServiceServer(r, toolService{Services: s})
	pb.RegisterPersonServiceServer(r, personService{Services: s})
	pb.RegisterAssemblyServiceServer(r, assemblyService{Services: s})
	pb.RegisterAnalysisServiceServer(r, analysisService{Services: s})
	pb.RegisterConsumableServiceServer(r, consumableService{Services: s})
	pb.RegisterInspectionServiceServer(r, inspectionService{Services: s})
	pb.RegisterControlServiceServer(r, controlService{Services: s})
	pb.RegisterProgressServiceServer(r, progressService{Services: s})
	pb.RegisterAttachmentServiceServer(r, attachmentService{Services: s})
}

// The methods of a service stand in the files of its resources.
type (
	structureService struct {
		pb.UnimplementedStructureServiceServer
		*Services
	}
	specificationService struct {
		pb.UnimplementedSpecificationServiceServer
		*Services
	}
	lotService struct {
		pb.UnimplementedLotServiceServer
		*Services
	}
	toolService struct {
		pb.UnimplementedToolServiceServer
		*Services
	}
	personService struct {
		pb.UnimplementedPersonServiceServer
		*Services
	}
	assemblyService struct {
		pb.UnimplementedAssemblyServiceServer
		*Services
	}
	analysisService struct {
		pb.UnimplementedAnalysisServiceServer
		*Services
	}
	consumableService struct {
		pb.UnimplementedConsumableServiceServer
		*Services
	}
	inspectionService struct {
		pb.UnimplementedInspectionServiceServer
		*Services
	}
	controlService struct {
		pb.UnimplementedControlServiceServer
		*Services
	}
	progressService struct {
		pb.UnimplementedProgressServiceServer
		*Services
	}
	attachmentService struct {
		pb.UnimplementedAttachmentServiceServer
		*Services
	}
)
