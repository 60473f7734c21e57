// Package termfigure draws the main figures of the quality report in characters for a
// terminal: the forest plot, the funnel, the control chart and the Pareto chart.
package termfigure
