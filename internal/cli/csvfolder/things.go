package csvfolder

import (
	"context"

	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func sites() *kind {
	return &kind{
		file:    "sites.csv",
		columns: join(required("code", "name", "time_zone"), optional("region", "status", "unit_preference")),
		fields:  map[string]string{"site_id": "code", "name": "code", "display_name": "name"},
		resources: map[string]string{
			"sites": "code",
		},
		decode: func(row *csvfile.Row) *Item {
			name := siteResource(row, "code", true)
			return newItem(row, name, &pb.CreateSiteRequest{
				SiteId: ledger.ShortName(name),
				Site: &pb.Site{
					DisplayName:    row.Required("name", "what people call the site"),
					Region:         row.Text("region"),
					TimeZone:       row.Required("time_zone", "an IANA time zone such as Europe/Dublin"),
					Status:         pb.SiteStatus(word(row, "status", ledger.SiteStatuses)),
					UnitPreference: pb.UnitPreference(word(row, "unit_preference", ledger.UnitPreferences)),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewStructureServiceClient(conn).BatchCreateSites(ctx, &pb.BatchCreateSitesRequest{
				Requests: messages[*pb.CreateSiteRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

func towers() *kind {
	return &kind{
		file:    "towers.csv",
		needs:   []string{"sites.csv"},
		columns: join(required("site", "tower", "material"), optional("drawing", "planned_start", "planned_finish")),
		fields:  map[string]string{"parent": "site", "tower_id": "tower", "name": "tower"},
		decode: func(row *csvfile.Row) *Item {
			p := place(row, 2)
			return newItem(row, p.Resource(), &pb.CreateTowerRequest{
				Parent: p.Parent().Resource(), TowerId: p.Last(),
				Tower: &pb.Tower{
					Material:      pb.Material(requiredWord(row, "material", ledger.Materials)),
					Drawing:       row.Text("drawing"),
					PlannedStart:  row.Date("planned_start"),
					PlannedFinish: row.Date("planned_finish"),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewStructureServiceClient(conn).BatchCreateTowers(ctx, &pb.BatchCreateTowersRequest{
				Requests: messages[*pb.CreateTowerRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

func joints() *kind {
	return &kind{
		file:  "joints.csv",
		needs: []string{"sites.csv", "towers.csv", "cells.csv", "specs.csv"},
		columns: join(required("site", "tower", "cell", "joint", "kind", "critical", "spec"), numbers("fasteners"),
			optional("part_a", "part_b")),
		fields:    map[string]string{"parent": "cell", "joint_id": "joint", "name": "joint", "specification": "spec"},
		resources: map[string]string{"specifications": "spec"},
		decode: func(row *csvfile.Row) *Item {
			p := place(row, 4)
			critical := row.Bool("critical")
			return newItem(row, p.Resource(), &pb.CreateJointRequest{
				Parent: p.Parent().Resource(), JointId: p.Last(),
				Joint: &pb.Joint{
					Kind:          pb.JointKind(requiredWord(row, "kind", ledger.JointKinds)),
					Critical:      critical != nil && *critical,
					PartA:         row.Text("part_a"),
					PartB:         row.Text("part_b"),
					Specification: resource(row, "spec", "specifications", true),
					Fasteners:     int32(row.RequiredWhole("fasteners", 1, ledger.MaxFasteners)),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewStructureServiceClient(conn).BatchCreateJoints(ctx, &pb.BatchCreateJointsRequest{
				Requests: messages[*pb.CreateJointRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

// fastener reads the columns of a fastener.
func fastener(row *csvfile.Row) *pb.Fastener {
	return &pb.Fastener{
		Thread:            row.Required("thread", "a thread such as M10"),
		LengthMillimetres: row.AboveZero("length_mm"),
		Material:          pb.Material(requiredWord(row, "material", ledger.Materials)),
		PropertyClass:     row.Text("property_class"),
		Coating:           row.Text("coating"),
		Head:              row.Text("head"),
	}
}

func fastenerFields(more map[string]string) map[string]string {
	fields := map[string]string{
		"fastener.thread": "thread", "fastener.length_millimetres": "length_mm", "fastener.material": "material",
		"fastener.property_class": "property_class", "fastener.coating": "coating", "fastener.head": "head",
		"fastener": "thread",
	}
	for k, v := range more {
		fields[k] = v
	}
	return fields
}

func specs() *kind {
	return &kind{
		file: "specs.csv",
		columns: join(required("spec", "thread"), columnsOf(false, true, []string{"length_mm", "nut_factor", "seal_width_mm", "min_surface_c"}),
			required("material", "treatment", "locking", "torque_basis"), numbers("torque_n_m", "torque_tolerance_pct"),
			optional("property_class", "coating", "head", "sealant", "torque_tool_required")),
		fields: fastenerFields(map[string]string{
			"specification_id": "spec", "name": "spec", "locking_method": "locking",
			"torque_newton_metres": "torque_n_m", "torque_tolerance_percent": "torque_tolerance_pct",
			"seal_width_millimetres": "seal_width_mm", "minimum_surface_celsius": "min_surface_c",
		}),
		resources: map[string]string{"specifications": "spec"},
		decode: func(row *csvfile.Row) *Item {
			name := resource(row, "spec", "specifications", true)
			toolRequired := row.Bool("torque_tool_required")
			return newItem(row, name, &pb.CreateSpecificationRequest{
				SpecificationId: ledger.ShortName(name),
				Specification: &pb.Specification{
					Fastener:               fastener(row),
					Treatment:              pb.Treatment(requiredWord(row, "treatment", ledger.Treatments)),
					LockingMethod:          pb.LockingMethod(requiredWord(row, "locking", ledger.LockingMethods)),
					TorqueNewtonMetres:     row.RequiredNumber("torque_n_m"),
					TorqueTolerancePercent: row.RequiredNumber("torque_tolerance_pct"),
					TorqueBasis:            pb.TorqueBasis(requiredWord(row, "torque_basis", ledger.TorqueBases)),
					NutFactor:              row.AboveZero("nut_factor"),
					TorqueToolRequired:     toolRequired != nil && *toolRequired,
					Sealant:                row.Text("sealant"),
					SealWidthMillimetres:   row.AboveZero("seal_width_mm"),
					MinimumSurfaceCelsius:  row.Number("min_surface_c"),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewSpecificationServiceClient(conn).BatchCreateSpecifications(ctx, &pb.BatchCreateSpecificationsRequest{
				Requests: messages[*pb.CreateSpecificationRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

func lots() *kind {
	return &kind{
		file: "lots.csv",
		columns: join(required("lot", "supplier", "thread"), columnsOf(false, true, []string{"length_mm"}), required("material"),
			optional("heat", "property_class", "coating", "head", "description", "state")),
		fields:    fastenerFields(map[string]string{"lot_id": "lot", "name": "lot"}),
		resources: map[string]string{"lots": "lot"},
		decode: func(row *csvfile.Row) *Item {
			name := resource(row, "lot", "lots", true)
			return newItem(row, name, &pb.CreateLotRequest{
				LotId: ledger.ShortName(name),
				Lot: &pb.Lot{
					Supplier:    row.Required("supplier", "the name of a supplier"),
					Heat:        row.Text("heat"),
					Fastener:    fastener(row),
					Description: row.Text("description"),
					State:       pb.LotState(word(row, "state", ledger.LotStates)),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewLotServiceClient(conn).BatchCreateLots(ctx, &pb.BatchCreateLotsRequest{
				Requests: messages[*pb.CreateLotRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

func tools() *kind {
	return &kind{
		file:  "tools.csv",
		needs: []string{"sites.csv"},
		columns: join(required("serial", "kind"), optional("type_class"),
			columnsOf(false, true, []string{"min_n_m", "max_n_m", "resolution_n_m"}), required("home_site"),
			columnsOf(false, true, []string{"interval_months", "interval_cycles"}), optional("due_after_event"),
			columnsOf(false, true, []string{"rated_load_kg"}), optional("policies")),
		fields: map[string]string{
			"tool_id": "serial", "name": "serial", "minimum_newton_metres": "min_n_m",
			"maximum_newton_metres": "max_n_m", "resolution_newton_metres": "resolution_n_m",
			"rated_load_kilograms": "rated_load_kg", "policies.action": "policies", "policies.months": "policies", "policies.days": "policies",
			"policies.cycles": "policies", "policies.each_shift": "policies",
		},
		resources: map[string]string{"tools": "serial", "sites": "home_site"},
		decode: func(row *csvfile.Row) *Item {
			name := resource(row, "serial", "tools", true)
			return newItem(row, name, &pb.CreateToolRequest{
				ToolId: ledger.ShortName(name),
				Tool: &pb.Tool{
					Kind:                   pb.ToolKind(requiredWord(row, "kind", ledger.ToolKinds)),
					TypeClass:              row.Text("type_class"),
					MinimumNewtonMetres:    row.NumberOrZero("min_n_m"),
					MaximumNewtonMetres:    row.NumberOrZero("max_n_m"),
					ResolutionNewtonMetres: row.AboveZero("resolution_n_m"),
					HomeSite:               siteResource(row, "home_site", true),
					IntervalMonths:         int32(row.Whole("interval_months", 0, 240)),
					IntervalCycles:         int32(row.Whole("interval_cycles", 0, 10_000_000)),
					DueAfterEvent:          row.Bool("due_after_event"),
					RatedLoadKilograms:     row.AboveZero("rated_load_kg"),
					Policies:               policies(row),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewToolServiceClient(conn).BatchCreateTools(ctx, &pb.BatchCreateToolsRequest{
				Requests: messages[*pb.CreateToolRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}
