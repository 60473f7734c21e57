package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var tools = thing[ledger.Tool, string, *pb.Tool, *pb.CreateToolRequest]{
	what:     "tool",
	message:  (*pb.CreateToolRequest).GetTool,
	from:     wire.ToolFrom,
	to:       wire.ToolTo,
	identify: func(_ *problems, r *pb.CreateToolRequest, t *ledger.Tool) { t.Serial = r.ToolId },
	parse:    wire.ToolName,
	key:      func(t ledger.Tool) string { return t.Serial },
	resource: func(t ledger.Tool) string { return wire.ResourceName("tools", t.Serial) },
	validate: ledger.Tool.Validate,
	home:     func(t ledger.Tool) string { return t.HomeSite },
	mayTurn: func(ctx context.Context, kept, _ ledger.Tool) error {
		return access.AllowAt(ctx, access.RegisterStock, kept.HomeSite)
	},
	fields:   toolFields,
	register: (*store.Store).RegisterTools,
	get:      (*store.Store).Tool,
	update:   (*store.Store).UpdateTool,
}

// CreateTool registers a tool.
func (s toolService) CreateTool(ctx context.Context, r *pb.CreateToolRequest) (*pb.Tool, error) {
	return tools.create(ctx, s.Services, r)
}

// BatchCreateTools registers many and answers for each.
func (s toolService) BatchCreateTools(ctx context.Context, r *pb.BatchCreateToolsRequest) (*pb.BatchCreateToolsResponse, error) {
	outcomes, err := tools.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateToolsResponse{Outcomes: outcomes}, err
}

// GetTool reads one tool.
func (s toolService) GetTool(ctx context.Context, r *pb.GetToolRequest) (*pb.Tool, error) {
	return tools.fetch(ctx, s.Services, r.Name)
}

// ListTools pages through tools.
func (s toolService) ListTools(ctx context.Context, r *pb.ListToolsRequest) (*pb.ListToolsResponse, error) {
	var p problems
	filter := store.ToolFilter{Kind: wire.Known(&p, "kind", ledger.ToolKinds, r.Kind), HomeSite: p.Site("home_site", r.HomeSite)}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Tool, string, error) {
		return s.store.Tools(ctx, filter, page)
	}, wire.ToolTo)
	return &pb.ListToolsResponse{Tools: items, NextPageToken: next}, err
}

// UpdateTool changes the fields in the mask.
func (s toolService) UpdateTool(ctx context.Context, r *pb.UpdateToolRequest) (*pb.Tool, error) {
	return tools.change(ctx, s.Services, r, r.Tool)
}
