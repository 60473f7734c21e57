// Package forecast says when work that goes on as it has gone on will be finished,
// with a prediction interval, from what was finished on each day.
package forecast
