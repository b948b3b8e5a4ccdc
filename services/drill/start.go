package drill

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"encoding/binary"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// StartDrill opens a drill and shows the first scene.
func (s *Server) StartDrill(ctx context.Context, req *drillv1.StartDrillRequest) (*drillv1.StartDrillResponse, error) {
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	played, started, refusal := s.open(ctx, req)
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		// A refusal is given from here, so that a request that was recorded before is answered even if it would be
		// refused today.
		Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			if refusal != nil {
				return nil, refusal
			}
			return decideStart(r, started)
		},
	})
	if err != nil {
		return nil, err
	}
	at, err := startOf(receipt)
	if err != nil {
		return nil, err
	}
	if !receipt.Repeated {
		s.keep(at, played)
	}
	return &drillv1.StartDrillResponse{Drill: at.row.GetDrill(), Scene: at.scene(), Position: receipt.Position}, nil
}

// keep puts a drill just started among the sessions.
func (s *Server) keep(at standing, played *play.Drill) {
	session := s.sessions.enter(at.row.GetDrill().GetDrillId())
	defer s.sessions.leave(session)
	session.drill, session.at = played, at
}

// open checks who plays what, and plays the opening.
func (s *Server) open(ctx context.Context, req *drillv1.StartDrillRequest) (*play.Drill, *drillv1.DrillStarted, error) {
	if err := s.mustBeTrainee(ctx, req.GetPersonId()); err != nil {
		return nil, nil, err
	}
	sc, version, err := s.texts.newest(ctx, req.GetScenarioId())
	if err != nil {
		return nil, nil, err
	}
	seed := req.GetSeed()
	if seed == 0 {
		seed = drawSeed()
	}
	played, err := play.New(sc, play.Options{Variant: req.GetVariant(), Seed: seed, ClockOff: req.GetClockOff()})
	if err != nil {
		return nil, nil, refused(err, "scenario", sc.ID)
	}
	t, scene := played.Timeline(), played.Scene()
	started := &drillv1.DrillStarted{
		Drill: &drillv1.Drill{
			DrillId: newID(), PersonId: req.GetPersonId(), Bench: req.GetBench(), ScenarioId: sc.ID, Digest: sc.Digest,
			RubricDigest: version.GetRubricDigest(), ShownAs: sc.ShownAs, Variant: t.Variant, Seed: seed, ClockOff: req.GetClockOff(), Model: t.Model,
		},
		Opening: segmentOut(t.Opening), Stage: played.Stage(), Scene: sceneOut(&scene),
		Measures: measureNames, Machine: placesShown(scene.Machine), Eye: placesShown(scene.Eye),
	}
	return played, started, nil
}

func (s *Server) mustBeTrainee(ctx context.Context, id string) error {
	resp, err := s.roster.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: id})
	if err != nil {
		return fault.From(err)
	}
	if !slices.Contains(resp.GetPerson().GetRoles(), rosterv1.Role_ROLE_TRAINEE) {
		return fault.New(codes.FailedPrecondition, "NOT_A_TRAINEE", "Drills are played by trainees, and "+id+" is not enrolled as one. Enrol the trainee under an id of their own.", "person", id)
	}
	return nil
}

func decideStart(r ledger.Reader, started *drillv1.DrillStarted) ([]ledger.Event, error) {
	id := started.GetDrill().GetDrillId()
	taken, err := r.Get(viewName, drillKey(id), nil)
	if err != nil {
		return nil, err
	}
	if taken {
		return nil, fault.New(codes.Aborted, "ID_TAKEN", "The id drawn for the drill is taken. Send the request again.", "drill", id)
	}
	return []ledger.Event{{Subject: id, Payload: started}}, nil
}

// startOf is where a drill stands after the entry that started it.
func startOf(receipt ledger.Receipt) (standing, error) {
	started := &drillv1.DrillStarted{}
	e, err := find(receipt.Entries, started)
	if err != nil {
		return standing{}, err
	}
	if e == nil {
		return standing{}, errNoEntry
	}
	return standing{row: &drillv1.DrillRow{Drill: opened(e, started)}, start: started}, nil
}

// placesShown says where among the measures the ones of a scene stand, ascending.
func placesShown(shown map[string]float64) []uint32 {
	var out []uint32
	for name := range shown {
		if at, ok := eye.MeasureIndex(name); ok {
			out = append(out, uint32(at))
		}
	}
	slices.Sort(out)
	return out
}

// newID draws a drill's id: 80 bits of chance, so that sites need not ask each other.
func newID() string {
	b := make([]byte, 10)
	rand.Read(b) // never fails: it would end the program instead
	return "d-" + strings.ToLower(base32.StdEncoding.EncodeToString(b))
}

// drawSeed draws a seed other than 0.
func drawSeed() uint64 {
	b := make([]byte, 8)
	rand.Read(b)
	return max(1, binary.LittleEndian.Uint64(b))
}
