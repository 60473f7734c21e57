package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
)

// noun is one kind of thing: how it is named and shown, and how the API keeps it.
// Its add, show and set commands are made of it.
type noun[T interface{ GetName() string }] struct {
	word, plural string
	// arg is the word for its name in a use line, help what that name is.
	arg, help string
	columns   func() []output.Column[T]
	// name makes the resource name of what a person typed.
	name func(typed string) (string, error)
	// fresh makes an empty thing, fields binds its flags; required are those that
	// add can't do without.
	fresh    func() T
	fields   func(cmd *cobra.Command, thing T) *fields
	required []string
	// notes are shown below the thing.
	notes []output.Note
	// remarks are what to say beside the answer once it is kept; none without.
	remarks func(thing T) []string

	create func(ctx context.Context, conn *grpc.ClientConn, name string, thing T) (T, error)
	get    func(ctx context.Context, conn *grpc.ClientConn, name string) (T, error)
	update func(ctx context.Context, conn *grpc.ClientConn, name string, thing T, mask *fieldmaskpb.FieldMask) (T, error)
}

func (n *noun[T]) add(a *app) *cobra.Command {
	thing := n.fresh()
	cmd := a.command("add "+n.arg, "Register a "+n.word, n.help+"\nThe same content again changes nothing.")
	f := n.fields(cmd, thing)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		if err := f.require(n.required...); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := n.create(ctx, conn, name, thing)
		if err != nil {
			return a.callFailure(err, f.names())
		}
		return a.aside(kept(a, n.plural, n.columns(), got, "kept: %s %s", n.word, ledger.ShortName(got.GetName())), n.remarksOn(got))
	})
}

func (n *noun[T]) show(a *app) *cobra.Command {
	return a.runs(a.command("show "+n.arg, "Show a "+n.word, n.help), func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := n.get(ctx, conn, name)
		if err != nil {
			return err
		}
		return output.Show(a.config(), n.plural, n.columns(), got, n.notes...)
	})
}

func (n *noun[T]) set(a *app) *cobra.Command {
	thing := n.fresh()
	cmd := a.command("set "+n.arg, "Change a "+n.word, "Only what the flags say is changed.")
	f := n.fields(cmd, thing)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := n.name(args[0])
		if err != nil {
			return err
		}
		paths, err := f.mask()
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		got, err := n.update(ctx, conn, name, thing, &fieldmaskpb.FieldMask{Paths: paths})
		if err != nil {
			return a.callFailure(err, f.names())
		}
		return a.aside(kept(a, n.plural, n.columns(), got, "changed: %s %s", n.word, ledger.ShortName(got.GetName())), n.remarksOn(got))
	})
}

func (n *noun[T]) remarksOn(thing T) []string {
	if n.remarks == nil {
		return nil
	}
	return n.remarks(thing)
}

// placeName reads a place of one depth and gives its resource name.
func placeName(depth int) func(string) (string, error) {
	return func(typed string) (string, error) {
		place, err := placeArg(typed, depth)
		return place.Resource(), err
	}
}

// collectionName reads a name in a collection and gives its resource name.
func collectionName(collection string) func(string) (string, error) {
	return func(typed string) (string, error) { return resourceArg(typed, collection) }
}

// parentOf and lastOf take a resource name apart as the API's create requests
// want it.
func parentOf(name string) string {
	place, err := ledger.ParsePlaceResource(name)
	if err != nil {
		return ""
	}
	return place.Parent().Resource()
}

func lastOf(name string) string {
	place, err := ledger.ParsePlaceResource(name)
	if err != nil {
		return ledger.ShortName(name)
	}
	return place.Last()
}

// wordOf is the word of a value of one of the API's enums.
func wordOf[T ~uint8, E ~int32](words ledger.Words[T], v E) string { return words.Name(T(v)) }
