package service

import (
	"sync"
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// Services are the API's services over one store.
type Services struct {
	store *store.Store
	// now is the clock for questions that are asked "as of now".
	now func() time.Time
	// ending is closed when the server shuts down.
	ending    chan struct{}
	endingOne sync.Once
}

// problems are what is wrong with a request.
type problems = wire.Problems

// EndWatches ends the streams that would last as long as their clients want, with
// UNAVAILABLE. A server that is stopped gracefully calls it first.
func (s *Services) EndWatches() { s.endingOne.Do(func() { close(s.ending) }) }

// New makes the services. now is the clock for questions that name no moment;
// time.Now when nil.
func New(s *store.Store, now func() time.Time) *Services {
	if now == nil {
		now = time.Now
	}
	return &Services{store: s, now: now, ending: make(chan struct{})}
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
	pb.RegisterComparisonServiceServer(r, comparisonService{Services: s})
	pb.RegisterConsumableServiceServer(r, consumableService{Services: s})
	pb.RegisterInspectionServiceServer(r, inspectionService{Services: s})
	pb.RegisterControlServiceServer(r, controlService{Services: s})
	pb.RegisterProgressServiceServer(r, progressService{Services: s})
	pb.RegisterAlarmServiceServer(r, alarmService{Services: s})
	pb.RegisterAttachmentServiceServer(r, attachmentService{Services: s})
	pb.RegisterReadinessServiceServer(r, readinessService{Services: s})
	pb.RegisterImpactServiceServer(r, impactService{Services: s})
	pb.RegisterCribServiceServer(r, cribService{Services: s})
	pb.RegisterCarryServiceServer(r, carryService{Services: s})
	pb.RegisterServerServiceServer(r, serverService{Services: s})
	pb.RegisterDeliveryServiceServer(r, deliveryService{Services: s})
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
	comparisonService struct {
		pb.UnimplementedComparisonServiceServer
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
	alarmService struct {
		pb.UnimplementedAlarmServiceServer
		*Services
	}
	attachmentService struct {
		pb.UnimplementedAttachmentServiceServer
		*Services
	}
	deliveryService struct {
		pb.UnimplementedDeliveryServiceServer
		*Services
	}
	serverService struct {
		pb.UnimplementedServerServiceServer
		*Services
	}
	impactService struct {
		pb.UnimplementedImpactServiceServer
		*Services
	}
	readinessService struct {
		pb.UnimplementedReadinessServiceServer
		*Services
	}
	cribService struct {
		pb.UnimplementedCribServiceServer
		*Services
	}
	carryService struct {
		pb.UnimplementedCarryServiceServer
		*Services
	}
)
