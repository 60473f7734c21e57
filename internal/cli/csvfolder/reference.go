package csvfolder

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// In a dry run nothing is kept, so the server refuses what names a thing from a
// file before; and the cells of a file that is only checked are not kept either.
// Those refusals say nothing of the other things that the message names; they are
// looked up here.

// unknownReferences gives a problem for each thing that an item names and that
// neither the folder offers nor the server knows.
func (t *taker) unknownReferences(ctx context.Context, k *kind, item *Item) ([]csvfile.Problem, error) {
	var problems []csvfile.Problem
	for _, name := range references(item.Message.ProtoReflect(), nil) {
		if t.comes(name) {
			continue
		}
		known, err := t.known(ctx, name)
		if err != nil {
			return nil, err
		}
		if !known {
			problems = append(problems, item.rows[0].Problem(k.resourceColumn(name),
				fmt.Sprintf("expected something that is known or comes with the folder, got %q", ledger.ShortName(name))))
		}
	}
	return problems, nil
}

// references collects the resource names in a message, its own left out.
func references(m protoreflect.Message, names []string) []string {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsList() || f.IsMap():
		case f.Kind() == protoreflect.MessageKind:
			names = references(v.Message(), names)
		case f.Kind() == protoreflect.StringKind && f.Name() != "name":
			collection, rest, ok := strings.Cut(v.String(), "/")
			if _, known := getters[collection]; ok && known && rest != "" && referenceFields[string(f.Name())] {
				names = append(names, v.String())
			}
		}
		return true
	})
	return names
}

// referenceFields are the fields that hold resource names; free text may look
// like one.
var referenceFields = map[string]bool{
	"parent": true, "joint": true, "site": true, "home_site": true, "lot": true, "tool": true,
	"person": true, "holder": true, "specification": true,
}

// getters read a thing by its resource name, by collection.
var getters = map[string]func(ctx context.Context, t *taker, name string) (proto.Message, error){
	"specifications": func(ctx context.Context, t *taker, name string) (proto.Message, error) {
		return pb.NewSpecificationServiceClient(t.conn).GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name})
	},
	"lots": func(ctx context.Context, t *taker, name string) (proto.Message, error) {
		return pb.NewLotServiceClient(t.conn).GetLot(ctx, &pb.GetLotRequest{Name: name})
	},
	"tools": func(ctx context.Context, t *taker, name string) (proto.Message, error) {
		return pb.NewToolServiceClient(t.conn).GetTool(ctx, &pb.GetToolRequest{Name: name})
	},
	"people": func(ctx context.Context, t *taker, name string) (proto.Message, error) {
		return pb.NewPersonServiceClient(t.conn).GetPerson(ctx, &pb.GetPersonRequest{Name: name})
	},
	"sites": func(ctx context.Context, t *taker, name string) (proto.Message, error) {
		client := pb.NewStructureServiceClient(t.conn)
		place, err := ledger.ParsePlaceResource(name)
		if err != nil {
			return nil, status.Error(codes.NotFound, err.Error())
		}
		switch place.Depth() {
		case 1:
			return client.GetSite(ctx, &pb.GetSiteRequest{Name: name})
		case 2:
			return client.GetTower(ctx, &pb.GetTowerRequest{Name: name})
		case 3:
			return client.GetCell(ctx, &pb.GetCellRequest{Name: name})
		default:
			return client.GetJoint(ctx, &pb.GetJointRequest{Name: name})
		}
	},
}

// known says whether the server knows a thing; it asks once for each.
func (t *taker) known(ctx context.Context, name string) (bool, error) {
	if known, asked := t.asked[name]; asked {
		return known, nil
	}
	collection, _, _ := strings.Cut(name, "/")
	_, err := getters[collection](ctx, t, name)
	if err != nil && status.Code(err) != codes.NotFound && status.Code(err) != codes.InvalidArgument {
		return false, err
	}
	t.asked[name] = err == nil
	return err == nil, nil
}
