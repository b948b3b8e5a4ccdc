package progress

import (
	"context"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// usualPage is the number of trainees in a page when none is asked for.
const usualPage = 50

// GetTrainee gives one trainee's standing in all competencies shown so far.
func (s *Server) GetTrainee(ctx context.Context, req *progressv1.GetTraineeRequest) (*progressv1.GetTraineeResponse, error) {
	resp, err := s.roster.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: req.GetPersonId(), AtLeast: req.GetAtLeast()})
	if err != nil {
		return nil, fault.From(err)
	}
	members, err := s.members(ctx, []*rosterv1.Person{resp.GetPerson()}, req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &progressv1.GetTraineeResponse{Member: members[0]}, nil
}

// ListCohort pages through the trainees in order of their ids. The roster gives who they are in one call a page, and its
// page tokens are the list's.
func (s *Server) ListCohort(ctx context.Context, req *progressv1.ListCohortRequest) (*progressv1.ListCohortResponse, error) {
	people, err := s.roster.ListPersons(ctx, &rosterv1.ListPersonsRequest{
		PageSize: int32(rpc.PageSize(req.GetPageSize(), usualPage)), PageToken: req.GetPageToken(), Role: rosterv1.Role_ROLE_TRAINEE, AtLeast: req.GetAtLeast(),
	})
	if err != nil {
		return nil, fault.From(err)
	}
	members, err := s.members(ctx, people.GetPersons(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &progressv1.ListCohortResponse{Members: members, NextPageToken: people.GetNextPageToken()}, nil
}

// members puts people and their rows together. Who was not assessed yet has an empty row.
func (s *Server) members(ctx context.Context, people []*rosterv1.Person, atLeast *ledgerv1.Position) ([]*progressv1.CohortMember, error) {
	members := make([]*progressv1.CohortMember, len(people))
	err := s.ledger.Read(ctx, atLeast, func(r ledger.Reader) error {
		for i, p := range people {
			row := &progressv1.TraineeRow{}
			if _, err := r.Get(viewName, traineeKey(p.GetPersonId()), row); err != nil {
				return err
			}
			row.PersonId = p.GetPersonId()
			members[i] = &progressv1.CohortMember{PersonId: p.GetPersonId(), DisplayName: p.GetDisplayName(), Row: row}
		}
		return nil
	})
	return members, err
}
