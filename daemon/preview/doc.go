// Package preview runs the core on a simulated room for some days, faster than time,
// and draws what the schedule does there. How each bed answers to water is what its
// zone has taught (package response); what nobody has taught is assumed, and told.
// The same options give the same result: there is no clock, no file and no chance.
package preview
