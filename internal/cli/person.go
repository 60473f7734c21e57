package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) personCommand() *cobra.Command {
	n := personNoun()
	return group("person", "People who make records", n.add(a), a.personList(), n.show(a), n.set(a))
}

func personNoun() *noun[*pb.Person] {
	return &noun[*pb.Person]{
		word: "person", plural: "people", arg: "PERSON",
		help:    "PERSON: initials or badge.",
		columns: personColumns,
		name:    collectionName("people"),
		fresh:   func() *pb.Person { return &pb.Person{} },
		fields:  personFields,
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, p *pb.Person) (*pb.Person, error) {
			return pb.NewPersonServiceClient(conn).CreatePerson(ctx, &pb.CreatePersonRequest{PersonId: lastOf(name), Person: p})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Person, error) {
			return pb.NewPersonServiceClient(conn).GetPerson(ctx, &pb.GetPersonRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, p *pb.Person, mask *fieldmaskpb.FieldMask) (*pb.Person, error) {
			p.Name = name
			return pb.NewPersonServiceClient(conn).UpdatePerson(ctx, &pb.UpdatePersonRequest{Person: p, UpdateMask: mask})
		},
	}
}

func personColumns() []output.Column[*pb.Person] {
	type person = *pb.Person
	return append([]output.Column[person]{
		{Name: "person", Heading: "PERSON", Value: func(p person) any { return ledger.ShortName(p.GetName()) }},
		{Name: "name", Heading: "NAME", Value: func(p person) any { return text(p.GetDisplayName()) }},
		{Name: "employer", Heading: "EMPLOYER", Value: func(p person) any { return text(p.GetEmployer()) }},
		{Name: "site", Heading: "SITE", Value: func(p person) any { return text(ledger.ShortName(p.GetHomeSite())) }},
		{Name: "roles", Heading: "ROLES", Value: func(p person) any {
			roles := make([]string, len(p.GetRoles()))
			for i, r := range p.GetRoles() {
				roles[i] = wordOf(ledger.Roles, r)
			}
			return roles
		}},
		{Name: "qualifications", Heading: "QUALIFICATIONS", Value: func(p person) any {
			qualifications := make([]output.Object, len(p.GetQualifications()))
			for i, q := range p.GetQualifications() {
				qualifications[i] = output.Object{{Key: "qualification", Value: q.GetTask()}, {Key: "expires", Value: text(q.GetExpireDate())}}
			}
			return qualifications
		}, Text: qualificationText},
	}, stamped[person]()...)
}

func qualificationText(p *pb.Person) string {
	var parts []string
	for _, q := range p.GetQualifications() {
		part := q.GetTask()
		if q.GetExpireDate() != "" {
			part += " to " + q.GetExpireDate()
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

func personFields(cmd *cobra.Command, p *pb.Person) *fields {
	f := newFields(cmd)
	f.text(&p.DisplayName, "name", "display_name", "name as people say it")
	f.text(&p.Employer, "employer", "employer", "employer")
	f.site(&p.HomeSite, "site", "home_site", "where the person works")
	f.bind("role", "roles", "WORD", "what the person is there to do, again for more: "+strings.Join(ledger.Roles.All(), ", "), func(text string) error {
		role, err := ledger.Roles.Parse(text)
		if err == nil {
			p.Roles = append(p.Roles, pb.Role(role))
		}
		return err
	})
	mustComplete(cmd, "role", ledger.Roles.All())
	f.bind("qualification", "qualifications", "TASK[=DATE]", "a task and the last day on which the qualification holds, such as bolting=2027-01-31; again for more", func(text string) error {
		task, date, _ := strings.Cut(text, "=")
		p.Qualifications = append(p.Qualifications, &pb.Qualification{Task: task, ExpireDate: date})
		return nil
	})
	return f
}

func (a *app) personList() *cobra.Command {
	var limit int
	request := &pb.ListPeopleRequest{}
	cmd := a.command("list", "List people", "")
	limitFlag(cmd, &limit)
	newFields(cmd).site(&request.HomeSite, "site", "home_site", "only of this site")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewPersonServiceClient(conn)
		return list(a, limit, "people", personColumns(), func(size int32, token string) ([]*pb.Person, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListPeople(ctx, request)
			return page.GetPeople(), page.GetNextPageToken(), err
		})
	})
}
