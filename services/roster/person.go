package roster

import (
	"context"
	"slices"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// usualPage is the number of people in a page when none is asked for.
const usualPage = 100

// GetPerson gives one person.
func (s *Server) GetPerson(ctx context.Context, req *rosterv1.GetPersonRequest) (*rosterv1.GetPersonResponse, error) {
	row := &rosterv1.PersonRow{}
	err := s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		known, err := r.Get(viewName, personKey(req.GetPersonId()), row)
		if err == nil && !known {
			return fault.New(codes.NotFound, "NO_SUCH_PERSON", "Nobody is enrolled as "+req.GetPersonId()+". Look the id up in the list of people.", "person", req.GetPersonId())
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	person, err := s.person(row)
	if err != nil {
		return nil, err
	}
	return &rosterv1.GetPersonResponse{Person: person}, nil
}

// ListPersons pages through people in order of their ids.
func (s *Server) ListPersons(ctx context.Context, req *rosterv1.ListPersonsRequest) (*rosterv1.ListPersonsResponse, error) {
	list := "persons/" + req.GetRole().String()
	after, err := rpc.PageAfter(list, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	size := rpc.PageSize(req.GetPageSize(), usualPage)
	var rows []*rosterv1.PersonRow
	err = s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) (err error) {
		rows, err = personsAfter(r, after, size+1, req.GetRole())
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &rosterv1.ListPersonsResponse{}
	if len(rows) > size {
		rows = rows[:size]
		resp.NextPageToken = rpc.PageToken(list, rows[size-1].GetPersonId())
	}
	for _, row := range rows {
		person, err := s.person(row)
		if err != nil {
			return nil, err
		}
		resp.Persons = append(resp.Persons, person)
	}
	return resp, nil
}

// personsAfter reads at most n people with the role whose ids come after one.
func personsAfter(r ledger.Reader, after string, n int, role rosterv1.Role) ([]*rosterv1.PersonRow, error) {
	from := ""
	if after != "" {
		from = personKey(after)
	}
	var rows []*rosterv1.PersonRow
	for {
		read := 0
		err := r.Scan(viewName, spacePersons, from, n, func(key string, value []byte) error {
			row := &rosterv1.PersonRow{}
			if err := proto.Unmarshal(value, row); err != nil {
				return err
			}
			read, from = read+1, key
			if len(rows) < n && (role == rosterv1.Role_ROLE_UNSPECIFIED || slices.Contains(row.GetRoles(), role)) {
				rows = append(rows, row)
			}
			return nil
		})
		if err != nil || read < n || len(rows) == n {
			return rows, err
		}
	}
}
