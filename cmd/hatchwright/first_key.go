package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/mattn/go-isatty"
)

// The shop key of a first start opens everything. A person at a terminal is shown it;
// what else standard output goes to is kept by somebody, as a container's log, so that
// the key goes to a file that its owner alone can read.

// firstKeySuffix is what the file's name ends with beside the embedded store's;
// mostFirstKeys bounds how many such files may lie there.
const (
	firstKeySuffix = ".first-shop-key"
	mostFirstKeys  = 100
)

// firstKeyFile is where the first shop key goes to.
func (c Config) firstKeyFile() string {
	switch {
	case c.FirstKeyFile != "":
		return c.FirstKeyFile
	case c.DatabaseURL != "":
		return "hatchwright" + firstKeySuffix
	}
	return c.DataFile + firstKeySuffix
}

// onTerminal tells whether a person reads what is written there.
func onTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}

// writeFirstKey writes the key into a new file for its owner alone and says which. A
// file that is there is left alone, since it may hold the key of another store: a number
// goes behind the name.
func writeFirstKey(path, key string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", fmt.Errorf("first shop key: %w", err)
	}
	for n := 1; n <= mostFirstKeys; n++ {
		name := path
		if n > 1 {
			name = fmt.Sprintf("%s-%d", path, n)
		}
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err == nil {
			_, err = f.WriteString(key + "\n")
			err = errors.Join(err, f.Sync(), f.Close())
		}
		if err != nil {
			return "", fmt.Errorf("first shop key: %w; name a file that can be written in HATCHWRIGHT_FIRST_KEY_FILE", err)
		}
		return name, nil
	}
	return "", fmt.Errorf("first shop key: %s and %d more are there: remove them", path, mostFirstKeys-1)
}
