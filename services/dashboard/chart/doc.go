// Package chart draws the supervisor's charts as SVG: a learning curve, a learning-curve CUSUM and a trace of one
// measure of the eye over a drill. gonum/plot does the geometry; the canvas is our own, so that an SVG holds neither
// style attributes nor fonts: every colour is a presentation attribute with a class beside it, which a page's style
// sheet may override for a dark screen, and text is set in Go Regular, which the page serves.
//
// The same chart gives the same bytes. Every SVG has role "img" and an aria-label with its title and description.
// A chart whose numbers are not finite is refused, never drawn in part.
package chart
