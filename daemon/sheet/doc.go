// Package sheet draws the install sheet of package wiring for people: as one SVG
// drawing, and as an HTML document that prints on A4 and Letter, a page for each
// controller, then one for the room, then labels to cut out. Its output depends on
// what it is given alone: no clock, no file, nothing fetched when it is shown.
package sheet
