package main

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"
)

// ownClock is the wall clock of one program, which can be stepped while it runs; its
// monotonic clock goes on as it is. That is what a program sees when somebody sets the
// machine's clock, and nobody else on the machine sees it.
//
// A time namespace can't do it: it has offsets for the monotonic clocks alone
// (time_namespaces(7)). A preloaded library can't either: the programs are linked
// statically and ask the kernel's vDSO (vdso(7)). So the vDSO's clock_gettime is
// overwritten in the memory of the program, which has a copy of its own from then on,
// with one that asks the kernel and adds the offset.
type ownClock struct {
	mu     sync.Mutex
	memory *os.File
	offset int64 // where the offset stands, in seconds
	now    time.Duration
}

// clockCode is clock_gettime(clock, at) for x86-64, with the offset in the last 8 bytes.
var clockCode = []byte{
	0xb8, 0xe4, 0x00, 0x00, 0x00, // mov eax, 228 (clock_gettime)
	0x0f, 0x05, // syscall
	0x85, 0xff, // test edi, edi (CLOCK_REALTIME is 0)
	0x75, 0x0a, // jnz past the addition
	0x48, 0x8b, 0x0d, 0x0e, 0x00, 0x00, 0x00, // mov rcx, [rip+14]
	0x48, 0x01, 0x0e, // add [rsi], rcx (the seconds)
	0xc3,                                                       // ret
	0x90, 0x90, 0x90, 0x90, 0x90, 0x90, 0x90, 0x90, 0x90, 0x90, // up to a multiple of 8, so that the offset is read whole
	0, 0, 0, 0, 0, 0, 0, 0,
}

const clockSymbol = "__vdso_clock_gettime"

// startWithClock starts a program with a clock of its own, so much ahead of the machine's.
// It is stopped before its first instruction, so that no thread is inside of what is
// overwritten.
func startWithClock(cmd *exec.Cmd, ahead time.Duration) (*ownClock, error) {
	if runtime.GOARCH != "amd64" {
		return nil, fmt.Errorf("a clock of a program's own is made for amd64; this is %s", runtime.GOARCH)
	}
	// Who traces is a thread.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd.SysProcAttr.Ptrace = true
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	var state syscall.WaitStatus
	_, err := syscall.Wait4(cmd.Process.Pid, &state, 0, nil)
	if err == nil && !state.Stopped() {
		err = fmt.Errorf("it is in the state %#x", uint32(state))
	}
	if err != nil {
		return nil, fmt.Errorf("the program did not stop at its start: %w", err)
	}
	c, err := patchClock(cmd.Process.Pid)
	if err == nil {
		err = c.step(ahead)
	}
	if err != nil {
		_ = cmd.Process.Kill() // it is of no use
	}
	return c, errors.Join(err, syscall.PtraceDetach(cmd.Process.Pid))
}

func patchClock(pid int) (*ownClock, error) {
	from, to, err := vdsoOf(pid)
	if err != nil {
		return nil, err
	}
	memory, err := os.OpenFile(fmt.Sprintf("/proc/%d/mem", pid), os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	image := make([]byte, to-from)
	if _, err := memory.ReadAt(image, from); err != nil {
		return nil, errors.Join(err, memory.Close())
	}
	at, err := clockAt(image)
	if err != nil {
		return nil, errors.Join(err, memory.Close())
	}
	if _, err := memory.WriteAt(clockCode, from+at); err != nil {
		return nil, errors.Join(fmt.Errorf("the vDSO can't be written: %w", err), memory.Close())
	}
	return &ownClock{memory: memory, offset: from + at + int64(len(clockCode)) - 8}, nil
}

// vdsoOf finds the vDSO in the memory of a program.
func vdsoOf(pid int) (from, to int64, err error) {
	maps, err := os.ReadFile(fmt.Sprintf("/proc/%d/maps", pid))
	if err != nil {
		return 0, 0, err
	}
	for line := range strings.Lines(string(maps)) {
		if strings.HasSuffix(strings.TrimSpace(line), "[vdso]") {
			_, err := fmt.Sscanf(line, "%x-%x ", &from, &to)
			return from, to, err
		}
	}
	return 0, 0, fmt.Errorf("the program %d has no vDSO", pid)
}

// clockAt finds clock_gettime in the vDSO, which is an ELF file in memory.
func clockAt(image []byte) (int64, error) {
	file, err := elf.NewFile(bytes.NewReader(image))
	if err != nil {
		return 0, err
	}
	symbols, err := file.DynamicSymbols()
	if err != nil {
		return 0, err
	}
	for _, s := range symbols {
		if s.Name != clockSymbol {
			continue
		}
		if s.Size < uint64(len(clockCode)) {
			return 0, fmt.Errorf("%s has %d bytes; expected room for %d", clockSymbol, s.Size, len(clockCode))
		}
		return int64(s.Value), nil
	}
	return 0, fmt.Errorf("the vDSO has no %s", clockSymbol)
}

// step sets the clock so much ahead of the machine's; below 0 behind it. Whole seconds
// count.
func (c *ownClock) step(ahead time.Duration) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], uint64(int64(ahead/time.Second)))
	if _, err := c.memory.WriteAt(b[:], c.offset); err != nil {
		return err
	}
	c.now = ahead
	return nil
}

func (c *ownClock) close() {
	if c != nil {
		_ = c.memory.Close() // it was only written to
	}
}
