package scenario

import (
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/ledger"
)

// viewName names the view and is part of its keys in the store.
const viewName = "scenarios"

// Spaces of the view's keys.
const (
	spaceNewest   = "i/" // then the scenario's id: its newest version without the texts
	spaceRubrics  = "r/" // then the scenario's digest: the rubric it was published with last
	spaceVersions = "v/" // then both digests: the version with its texts
)

func newestKey(id string) string              { return spaceNewest + id }
func rubricKey(digest string) string          { return spaceRubrics + digest }
func versionKey(digest, rubric string) string { return spaceVersions + digest + "/" + rubric }

type view struct{}

// View is the fold of the scenarios' events.
func View() ledger.View { return view{} }

func (view) Name() string    { return viewName }
func (view) Version() uint32 { return 1 }

func (view) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	published, ok := payload.(*scenariov1.ScenarioPublished)
	if !ok {
		return nil
	}
	v := at(e, published.GetVersion())
	if err := w.Put(viewName, versionKey(v.GetDigest(), v.GetRubricDigest()), v); err != nil {
		return err
	}
	if err := w.Put(viewName, rubricKey(v.GetDigest()), &scenariov1.RubricRow{RubricDigest: v.GetRubricDigest()}); err != nil {
		return err
	}
	return w.Put(viewName, newestKey(v.GetScenarioId()), withoutTexts(v))
}
