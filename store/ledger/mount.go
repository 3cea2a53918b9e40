package ledger

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// MountProblem says in a sentence what makes a sync on the file system of dir
// worth nothing: barriers switched off, or ext4's fast commits; "" = nothing
// found. The second needs /proc/fs, and is not seen without it.
func MountProblem(dir string) (string, error) {
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", fmt.Errorf("look at the mount of %s: %w", dir, err)
	}
	f, err := os.Open("/proc/self/mountinfo")
	if err != nil {
		return "", fmt.Errorf("look at the mount of %s: %w", dir, err)
	}
	defer f.Close()
	m, err := mountOf(f, real)
	if err != nil {
		return "", fmt.Errorf("look at the mount of %s: %w", dir, err)
	}
	if m.fstype == "ext4" {
		if options, err := os.ReadFile(filepath.Join("/proc/fs/ext4", filepath.Base(m.device), "options")); err == nil {
			m.options = append(m.options, strings.Fields(string(options))...)
		}
	}
	return m.problem(), nil
}

// mount is one line of mountinfo, proc(5).
type mount struct {
	point, fstype, device string
	options               []string
}

// mountOf finds the mount that holds a path: the last one whose point is the
// longest prefix of it.
func mountOf(r io.Reader, path string) (mount, error) {
	var best mount
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		m, ok := parseMount(lines.Text())
		if ok && within(path, m.point) && len(m.point) >= len(best.point) {
			best = m
		}
	}
	if best.point == "" && lines.Err() == nil {
		return best, fmt.Errorf("no mount holds it")
	}
	return best, lines.Err()
}

func within(path, point string) bool {
	return point == "/" || path == point || strings.HasPrefix(path, point+"/")
}

// parseMount reads "36 35 98:0 /root /point rw,noatime shared:1 - ext4 /dev/x rw,opts".
func parseMount(line string) (mount, bool) {
	f := strings.Fields(line)
	dash := slices.Index(f, "-")
	if dash < 6 || len(f) < dash+4 {
		return mount{}, false
	}
	options := append(strings.Split(f[5], ","), strings.Split(f[dash+3], ",")...)
	return mount{point: unescape(f[4]), fstype: f[dash+1], device: f[dash+2], options: options}, true
}

// unescape undoes the octal escapes of mountinfo.
func unescape(s string) string {
	return strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`).Replace(s)
}

func (m mount) problem() string {
	for _, o := range m.options {
		switch o {
		case "nobarrier", "barrier=0":
			return fmt.Sprintf("%s is mounted with %s: a power cut can undo what was synced; mount it without", m.point, o)
		case "fast_commit":
			return fmt.Sprintf("%s has ext4's fast_commit: switch it off with tune2fs -O ^fast_commit", m.point)
		}
	}
	return ""
}
