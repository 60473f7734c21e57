package csvfolder

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func people() *kind {
	return &kind{
		file:    "people.csv",
		needs:   []string{"sites.csv"},
		columns: join(required("person"), optional("name", "employer", "site", "roles", "qualification", "expires")),
		fields: map[string]string{
			"person_id": "person", "name": "person", "display_name": "name", "home_site": "site", "roles": "roles",
			"qualifications.task": "qualification", "qualifications.expire_date": "expires",
		},
		resources: map[string]string{"people": "person", "sites": "site"},
		read:      readPeople,
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewPersonServiceClient(conn).BatchCreatePeople(ctx, &pb.BatchCreatePeopleRequest{
				Requests: messages[*pb.CreatePersonRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

// readPeople merges the lines of one person: each may add roles and one
// qualification; the rest must agree or be left empty.
func readPeople(f *folder, k *kind, problems *csvfile.Problems, emit func(*Item) error) error {
	merged := newMerger()
	err := f.scan(k, problems, func(row *csvfile.Row) error {
		name := resource(row, "person", "people", true)
		roles := readRoles(row)
		qualification := &pb.Qualification{Task: row.Text("qualification"), ExpireDate: row.Date("expires")}
		if qualification.Task == "" && row.Text("expires") != "" {
			row.Fail("qualification", "expected the task that expires on %s, got nothing", row.Text("expires"))
		}
		site := siteResource(row, "site", false)
		item := merged.item(row, name, func() *Item {
			return newItem(row, name, &pb.CreatePersonRequest{PersonId: ledger.ShortName(name), Person: &pb.Person{}})
		})
		if item == nil {
			return nil
		}
		person := item.Message.(*pb.CreatePersonRequest).Person
		merged.agree(row, name, "name", &person.DisplayName, row.Text("name"))
		merged.agree(row, name, "employer", &person.Employer, row.Text("employer"))
		merged.agree(row, name, "site", &person.HomeSite, site)
		if row.Bad() {
			merged.spoil(name)
			return nil
		}
		for _, r := range roles {
			if !slices.Contains(person.Roles, r) {
				person.Roles = append(person.Roles, r)
			}
		}
		if qualification.Task != "" && !slices.ContainsFunc(person.Qualifications, func(q *pb.Qualification) bool {
			return q.GetTask() == qualification.Task && q.GetExpireDate() == qualification.ExpireDate
		}) {
			// A violation names a qualification by its number: keep the lines parallel.
			if len(person.Qualifications) > 0 {
				item.rows = append(item.rows, row)
			} else {
				item.rows[0] = row
			}
			person.Qualifications = append(person.Qualifications, qualification)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return merged.emit(emit)
}

// readRoles reads roles parted by semicolons.
func readRoles(row *csvfile.Row) []pb.Role {
	var roles []pb.Role
	for _, text := range strings.Split(row.Text("roles"), ";") {
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		role, err := ledger.Roles.Parse(text)
		if err != nil {
			row.Fail("roles", "expected roles of %s, parted by semicolons, got %s", strings.Join(ledger.Roles.All(), ", "), csvfile.Quote(text))
			return nil
		}
		roles = append(roles, pb.Role(role))
	}
	return roles
}
