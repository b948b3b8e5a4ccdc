package script

// The text's shape, as the strict reader fills it. Actions and the starting eye stay untyped here because
// their keys come from the eye's own tables.
type (
	rawScenario struct {
		Zonule       string                `yaml:"zonule"`
		ID           string                `yaml:"id"`
		ShownAs      string                `yaml:"shown_as"`
		Complication string                `yaml:"complication"`
		Teaches      string                `yaml:"teaches"`
		Brief        string                `yaml:"brief"`
		Evidences    []string              `yaml:"evidences"`
		ReviewedBy   string                `yaml:"reviewed_by"`
		ReviewDue    string                `yaml:"review_due"`
		Cautions     string                `yaml:"cautions"`
		Sources      []rawSource           `yaml:"sources"`
		Orientation  rawOrientation        `yaml:"orientation"`
		Eye          map[string]any        `yaml:"eye"`
		Machine      map[string]any        `yaml:"machine"`
		Variants     map[string]rawVariant `yaml:"variants"`
		Opening      []any                 `yaml:"opening"`
		Moves        map[string][]any      `yaml:"moves"`
		FreeHands    bool                  `yaml:"free_hands"`
		First        string                `yaml:"first"`
		Anywhere     []rawTransition       `yaml:"anywhere"`
		Stages       map[string]rawStage   `yaml:"stages"`
		Endings      map[string]rawEnding  `yaml:"endings"`
	}
	rawSource struct {
		Claim string `yaml:"claim"`
		Mark  string `yaml:"mark"`
		Ref   string `yaml:"ref"`
	}
	rawOrientation struct {
		Eye  string `yaml:"eye"`
		Sits string `yaml:"sits"`
	}
	rawVariant struct {
		About  string         `yaml:"about"`
		Values map[string]any `yaml:"values"`
	}
	rawStage struct {
		Cue           string               `yaml:"cue"`
		Also          []rawSentence        `yaml:"also"`
		Clock         *rawClock            `yaml:"clock"`
		WhileThinking map[string]any       `yaml:"while_thinking"`
		Arrive        []any                `yaml:"arrive"`
		Choices       map[string]rawChoice `yaml:"choices"`
		Panel         *rawPanel            `yaml:"panel"`
		Next          []rawTransition      `yaml:"next"`
	}
	rawSentence struct {
		When string `yaml:"when"`
		Say  string `yaml:"say"`
	}
	rawClock struct {
		Seconds string `yaml:"limit"`
		Then    string `yaml:"then"`
		Does    []any  `yaml:"does"`
	}
	rawChoice struct {
		Say     string `yaml:"say"`
		When    string `yaml:"when"`
		Does    []any  `yaml:"does"`
		Stance  string `yaml:"stance"`
		Because string `yaml:"because"`
		Asks    string `yaml:"asks"`
	}
	rawPanel struct {
		Illustrative bool           `yaml:"illustrative"`
		Votes        map[string]int `yaml:"votes"`
	}
	rawTransition struct {
		When string `yaml:"when"`
		Go   string `yaml:"go"`
	}
	rawEnding struct {
		Says string `yaml:"says"`
		Safe bool   `yaml:"safe"`
		When string `yaml:"when"`
	}
)
