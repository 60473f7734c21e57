package access

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	pb "jointledger/proto/jointledger/v1"
)

// Action is what a call wants to do; the API says of each of its methods which one
// it takes (proto/jointledger/v1/authorization.proto).
type Action = pb.Action

// Actions, in short.
const (
	Read                   = pb.Action_ACTION_READ
	RankPeople             = pb.Action_ACTION_RANK_PEOPLE
	RecordWork             = pb.Action_ACTION_RECORD_WORK
	Inspect                = pb.Action_ACTION_INSPECT
	KeepTools              = pb.Action_ACTION_KEEP_TOOLS
	Calibrate              = pb.Action_ACTION_CALIBRATE
	MoveLots               = pb.Action_ACTION_MOVE_LOTS
	Hold                   = pb.Action_ACTION_HOLD
	Decide                 = pb.Action_ACTION_DECIDE
	SignOff                = pb.Action_ACTION_SIGN_OFF
	Correct                = pb.Action_ACTION_CORRECT
	Attach                 = pb.Action_ACTION_ATTACH
	Deliver                = pb.Action_ACTION_DELIVER
	RegisterPlaces         = pb.Action_ACTION_REGISTER_PLACES
	RegisterSites          = pb.Action_ACTION_REGISTER_SITES
	RegisterStock          = pb.Action_ACTION_REGISTER_STOCK
	RegisterSpecifications = pb.Action_ACTION_REGISTER_SPECIFICATIONS
	RegisterPeople         = pb.Action_ACTION_REGISTER_PEOPLE
	SetAlarms              = pb.Action_ACTION_SET_ALARMS
	Administer             = pb.Action_ACTION_ADMINISTER
)

var actionWords = map[Action]string{
	Read:                   "read",
	RankPeople:             "rank or compare people by name",
	RecordWork:             "add tightenings, sealings or incidents",
	Inspect:                "add inspections",
	KeepTools:              "lend, send or check tools",
	Calibrate:              "add calibrations",
	MoveLots:               "move lots",
	Hold:                   "place holds",
	Decide:                 "release holds or decide what becomes of what failed",
	SignOff:                "sign off",
	Correct:                "correct records",
	Attach:                 "attach files to records",
	Deliver:                "hand in records",
	RegisterPlaces:         "register or change towers, cells and joints",
	RegisterSites:          "register or change sites",
	RegisterStock:          "register or change lots, batches and tools",
	RegisterSpecifications: "register or change specifications",
	RegisterPeople:         "register or change people",
	SetAlarms:              "set alarms",
	Administer:             "say who may do what",
}

// Actions gives every action that the API knows, in the order of its numbers.
func Actions() []Action {
	values := pb.Action(0).Descriptor().Values()
	all := make([]Action, 0, values.Len())
	for i := range values.Len() {
		if n := Action(values.Get(i).Number()); n != pb.Action_ACTION_UNSPECIFIED {
			all = append(all, n)
		}
	}
	return all
}

// Words says what an action is, after "may" or "may not".
func Words(a Action) string { return actionWords[a] }

// ActionOf gives the action that the API states for a method, by its full name as
// gRPC writes it, `/package.Service/Method`. An error means that the method is none
// of the API's, or that its definition names no action.
func ActionOf(fullMethod string) (Action, error) {
	name := protoreflect.FullName(dotted(fullMethod))
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(name)
	if err != nil {
		return 0, fmt.Errorf("method %s is not in the API's definition: %w", fullMethod, err)
	}
	options, ok := d.Options().(*descriptorpb.MethodOptions)
	if !ok {
		return 0, fmt.Errorf("%s is no method", fullMethod)
	}
	a, _ := proto.GetExtension(options, pb.E_Action).(Action)
	if actionWords[a] == "" {
		return 0, fmt.Errorf("the API's definition of %s does not say which action it takes (option `action`); nobody could be allowed it", fullMethod)
	}
	return a, nil
}

// dotted turns `/package.Service/Method` into `package.Service.Method`.
func dotted(fullMethod string) string {
	b := []byte(fullMethod)
	if len(b) > 0 && b[0] == '/' {
		b = b[1:]
	}
	for i := range b {
		if b[i] == '/' {
			b[i] = '.'
		}
	}
	return string(b)
}
