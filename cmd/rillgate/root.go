package main

import (
	"github.com/spf13/cobra"
)

// flags are those that every command has.
type flags struct {
	config string // directory of the three files
	state  string // state directory; "" = /var/lib/rillgate/<room>
	dead   bool   // it was said that no daemon runs
}

func newRoot() *cobra.Command {
	f := &flags{}
	root := &cobra.Command{
		Use:           "rillgate",
		Short:         "Water a growing room by windows and moisture, behind interlocks",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cmd.SetOut(cmd.ErrOrStderr())
			_ = cmd.Help()
			return misuse("a command is due")
		},
	}
	root.PersistentFlags().StringVar(&f.config, "config", "/etc/rillgate", "`DIR` of room.yaml, schedule.yaml and gateway.yaml")
	root.PersistentFlags().StringVar(&f.state, "state", "", "state `DIR` (default /var/lib/rillgate/<room>)")
	root.AddGroup(
		&cobra.Group{ID: "main", Title: "The main job:"},
		&cobra.Group{ID: "plan", Title: "The plan:"},
		&cobra.Group{ID: "look", Title: "Look:"},
		&cobra.Group{ID: "act", Title: "Act:"},
	)
	addAll(root, "main", newDemo(f), newRun(f), newReplay(f))
	addAll(root, "plan", newCheck(f), newApply(f), newPlans(f), newSchema())
	addAll(root, "look", newProbes(f), newZones(f), newJournal(f), newWhy(f))
	addAll(root, "act", newAssign(f), newIgnore(f), newHold(f), newRelease(f), newShot(f), newSoak(f), newStop(f), newReset(f),
		newAcknowledge(f), newNote(f), newClock(f), newBackup(f), newRestore(f))
	addAll(root, "plan", newPreview(f), newWiring(f))
	addAll(root, "look", newReport(f), newHistory(f), newHandover(f))
	addAll(root, "act", newDrain(f), newUniformity(f))
	addAll(root, "act", newExchange(f), newLabel(f), newWalk(f))
	return root
}

func addAll(root *cobra.Command, group string, cmds ...*cobra.Command) {
	for _, c := range cmds {
		c.GroupID = group
		root.AddCommand(c)
	}
}
