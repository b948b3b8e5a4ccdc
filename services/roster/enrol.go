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

// EnrolPerson adds a person: the roles to the ledger, the name sealed beside it.
func (s *Server) EnrolPerson(ctx context.Context, req *rosterv1.EnrolPersonRequest) (*rosterv1.EnrolPersonResponse, error) {
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	command, err := s.enrolment(req)
	if err != nil {
		return nil, err
	}
	command.Actor, command.RequestID, command.Fingerprint = rpc.Actor(ctx), req.GetRequestId(), fingerprint
	receipt, err := s.ledger.Append(ctx, command)
	if err != nil {
		return nil, err
	}
	person, err := s.enrolled(receipt.Entries)
	if err != nil {
		return nil, err
	}
	return &rosterv1.EnrolPersonResponse{Person: person, Position: receipt.Position}, nil
}

// enrolment seals the name and makes the command. That a name cannot be sealed is the command's refusal, not ours: the
// request may be an old one come again, about somebody erased since, and that one is to be answered.
func (s *Server) enrolment(req *rosterv1.EnrolPersonRequest) (ledger.Command, error) {
	plain, err := proto.Marshal(&rosterv1.PersonalRecord{DisplayName: req.GetDisplayName()})
	if err != nil {
		return ledger.Command{}, fault.Wrap(err, codes.Internal, "UNEXPECTED", "The name could not be encoded; nothing was changed.")
	}
	sealed, commitment, cannotSeal := s.ledger.Seal(req.GetPersonId(), plain)
	command := ledger.Command{Decide: func(r ledger.Reader) ([]ledger.Event, error) {
		if cannotSeal != nil {
			return nil, cannotSeal
		}
		return decideEnrol(r, req, commitment)
	}}
	if cannotSeal == nil {
		command.Private = []ledger.Sealed{sealed}
	}
	return command, nil
}

func decideEnrol(r ledger.Reader, req *rosterv1.EnrolPersonRequest, commitment []byte) ([]ledger.Event, error) {
	taken, err := r.Get(viewName, personKey(req.GetPersonId()), nil)
	if err != nil {
		return nil, err
	}
	if taken {
		return nil, fault.New(codes.AlreadyExists, "PERSON_EXISTS", "The id "+req.GetPersonId()+" is taken. Choose another one.", "person", req.GetPersonId())
	}
	event := &rosterv1.PersonEnrolled{PersonId: req.GetPersonId(), Roles: slices.Sorted(slices.Values(req.GetRoles())), Commitment: commitment}
	return []ledger.Event{{Subject: req.GetPersonId(), Payload: event}}, nil
}
