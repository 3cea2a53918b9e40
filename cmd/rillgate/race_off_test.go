//go:build !race

package main

// raceFlag builds the program under test as the tests are built.
const raceFlag = "-race=false"
