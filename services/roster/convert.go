package roster

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
)

// person puts the name to a row. An erased person, and one whose name is kept at another site, has none.
func (s *Server) person(row *rosterv1.PersonRow) (*rosterv1.Person, error) {
	person := &rosterv1.Person{PersonId: row.GetPersonId(), Roles: row.GetRoles(), EnrolledAt: row.GetEnrolledAt()}
	plain, err := s.ledger.Unseal(row.GetPersonId(), row.GetCommitment())
	switch {
	case fault.Code(err) == codes.NotFound:
		return person, nil
	case err != nil:
		return nil, err
	}
	record := &rosterv1.PersonalRecord{}
	if err := proto.Unmarshal(plain, record); err != nil {
		return nil, fault.Wrap(err, codes.DataLoss, "SEALED_DAMAGED", "The name kept about "+row.GetPersonId()+" cannot be read. Enter it again.", "person", row.GetPersonId())
	}
	person.DisplayName = record.GetDisplayName()
	return person, nil
}

// enrolled reads the person out of the entries of an enrolment.
func (s *Server) enrolled(entries []*ledgerv1.Entry) (*rosterv1.Person, error) {
	for _, e := range entries {
		event := &rosterv1.PersonEnrolled{}
		if !e.GetPayload().MessageIs(event) {
			continue
		}
		if err := e.GetPayload().UnmarshalTo(event); err != nil {
			return nil, fault.Wrap(err, codes.DataLoss, "ENTRY_DAMAGED", "The entry of the enrolment cannot be read. Run the ledger check.")
		}
		return s.person(&rosterv1.PersonRow{PersonId: event.GetPersonId(), Roles: event.GetRoles(), Commitment: event.GetCommitment(), EnrolledAt: e.GetRecordedAt()})
	}
	return nil, fault.New(codes.Internal, "UNEXPECTED", "The enrolment left no entry. This is a mistake in the program.")
}
