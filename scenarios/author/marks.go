package author

import "zonule/scenarios/play"

// Judge marks one played drill. It is called from several goroutines at once.
type Judge func(t *play.Timeline) (Marks, error)

// Marks are what a judge gave: a mean level over the criteria shown (0 when none was), the level of each
// criterion (0 for not shown), and the critical errors.
type Marks struct {
	Mean     float64
	Levels   []Level
	Critical []string
}

// Level is the level of one criterion, 1 to 5, or 0 for not shown.
type Level struct {
	Criterion string
	Level     int
}
