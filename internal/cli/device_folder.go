package cli

import (
	"errors"
	"os"
	"path/filepath"
)

// envFolder is the environment's way to give --folder.
const envFolder = "JOINTLEDGER_FOLDER"

// deviceName is the folder below each of the XDG base directories.
const deviceName = "jointledger"

// deviceFolder is the folder that keeps what this device carries and what waits to
// be sent: --folder, else JOINTLEDGER_FOLDER, else what the settings file says, else
// jointledger in $XDG_DATA_HOME (XDG Base Directory Specification 0.8). It need not
// exist yet. It fails with exitConfig where none of them says where.
func (a *app) deviceFolder() (string, error) {
	if given := a.givenFolder(); given != "" {
		return absolute(given)
	}
	file, err := a.fileSettings()
	if err != nil {
		return "", err
	}
	if file.folder != "" {
		return absolute(file.folder)
	}
	return a.baseFolder("XDG_DATA_HOME", ".local", "share")
}

// settingsFile is the file with the settings of this device. It need not exist.
func (a *app) settingsFile() (string, error) {
	return a.deviceFile("settings.toml", "XDG_CONFIG_HOME", ".config")
}

// atFile is the file with the current place and what is in hand for the shift. It
// need not exist.
func (a *app) atFile() (string, error) {
	return a.deviceFile("at.toml", "XDG_STATE_HOME", ".local", "state")
}

// deviceFile is a file of this device: in the folder that was given, so that two
// devices on one machine have nothing in common, else in its XDG place.
func (a *app) deviceFile(name, variable string, below ...string) (string, error) {
	folder := a.givenFolder()
	var err error
	if folder != "" {
		folder, err = absolute(folder)
	} else {
		folder, err = a.baseFolder(variable, below...)
	}
	if err != nil {
		return "", err
	}
	return filepath.Join(folder, name), nil
}

// givenFolder is the folder of --folder or of the environment; empty for neither.
func (a *app) givenFolder() string {
	if a.settings.folder != "" {
		return a.settings.folder
	}
	return a.getenv(envFolder)
}

// baseFolder is ours in an XDG base directory, or in its stand-in below the home
// directory. A relative path in the variable is to be ignored, says the
// specification.
func (a *app) baseFolder(variable string, below ...string) (string, error) {
	if base := a.getenv(variable); filepath.IsAbs(base) {
		return filepath.Join(base, deviceName), nil
	}
	home := a.getenv("HOME")
	if home == "" {
		home = a.getenv("USERPROFILE")
	}
	if home == "" {
		return "", &failure{code: exitConfig, message: "there is no folder for what this device keeps: expected --folder, or " + envFolder + ", " + variable + " or HOME in the environment"}
	}
	return filepath.Join(append(append([]string{home}, below...), deviceName)...), nil
}

func absolute(folder string) (string, error) {
	full, err := filepath.Abs(folder)
	if err != nil {
		return "", &failure{code: exitConfig, message: "the folder " + folder + " can't be found: " + err.Error()}
	}
	return full, nil
}

// writeDeviceFile puts a small file of this device in its place, whole or not at all:
// whoever reads meanwhile sees the old one. Others may not read it.
func writeDeviceFile(path string, data []byte) error {
	cannot := func(err error) error {
		return &failure{code: exitCantWrite, message: "not kept: " + err.Error()}
	}
	folder := filepath.Dir(path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return cannot(err)
	}
	f, err := os.CreateTemp(folder, filepath.Base(path)+".*")
	if err != nil {
		return cannot(err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		// What is left of it is of no use to anybody.
		return cannot(errors.Join(err, os.Remove(f.Name())))
	}
	return nil
}
