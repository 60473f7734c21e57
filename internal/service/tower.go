package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var towers = thing[ledger.Tower, ledger.Place, *pb.Tower, *pb.CreateTowerRequest]{
	what:    "tower",
	message: (*pb.CreateTowerRequest).GetTower,
	from:    wire.TowerFrom,
	to:      wire.TowerTo,
	identify: func(p *problems, r *pb.CreateTowerRequest, t *ledger.Tower) {
		if t.Place = p.PlaceOf("parent", r.Parent, 1, false); t.Place.Depth() == 1 {
			t.Place.Tower = tag(r.TowerId)
		}
	},
	parse:    wire.TowerName,
	key:      func(t ledger.Tower) ledger.Place { return t.Place },
	resource: func(t ledger.Tower) string { return t.Place.Resource() },
	validate: ledger.Tower.Validate,
	fields:   towerFields,
	register: (*store.Store).RegisterTowers,
	get:      (*store.Store).Tower,
	update:   (*store.Store).UpdateTower,
}

// CreateTower registers a tower.
func (s structureService) CreateTower(ctx context.Context, r *pb.CreateTowerRequest) (*pb.Tower, error) {
	return towers.create(ctx, s.Services, r)
}

// BatchCreateTowers registers many and answers for each.
func (s structureService) BatchCreateTowers(ctx context.Context, r *pb.BatchCreateTowersRequest) (*pb.BatchCreateTowersResponse, error) {
	outcomes, err := towers.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateTowersResponse{Outcomes: outcomes}, err
}

// GetTower reads one tower.
func (s structureService) GetTower(ctx context.Context, r *pb.GetTowerRequest) (*pb.Tower, error) {
	return towers.fetch(ctx, s.Services, r.Name)
}

// ListTowers pages through the towers of its parent.
func (s structureService) ListTowers(ctx context.Context, r *pb.ListTowersRequest) (*pb.ListTowersResponse, error) {
	var p problems
	filter := store.PlaceFilter{Within: p.PlaceOf("parent", r.Parent, 1, true)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Tower, string, error) {
		return s.store.Towers(ctx, filter, page)
	}, wire.TowerTo)
	return &pb.ListTowersResponse{Towers: items, NextPageToken: next}, err
}

// UpdateTower changes the fields in the mask.
func (s structureService) UpdateTower(ctx context.Context, r *pb.UpdateTowerRequest) (*pb.Tower, error) {
	return towers.change(ctx, s.Services, r, r.Tower)
}
