package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

// wire joins the network that the rig is in with a network namespace of its own, by two
// TUN devices (Linux, Documentation/networking/tuntap.rst) between which it carries the
// packets: late, slowly, not all, or none. What is lost is lost to TCP, as on a poor line;
// the kernel's own means for that, netem, is not in every kernel.
type wire struct {
	namespace string
	// here and there are the addresses at both ends.
	here, there string
	devices     [2]*os.File
	names       [2]string
	state       atomic.Pointer[quality]
	packets     sync.WaitGroup
}

// quality is what a line is like.
type quality struct {
	// delay is how long a packet takes one way, rate how many bytes a second pass; 0 for
	// any number. loss is the share that does not arrive: 1 for a line that is cut.
	delay time.Duration
	rate  int
	loss  float64
}

// newWire makes the namespace and the devices. The addresses are of the range for
// measurements of networks (RFC 2544, 198.18.0.0/15).
func newWire(ctx context.Context, draw *rand.Rand) (w *wire, err error) {
	if err := root("a network of its own"); err != nil {
		return nil, err
	}
	n := draw.IntN(1 << 14) // a network of four addresses
	address := func(last int) string { return fmt.Sprintf("198.%d.%d.%d", 18+n>>13, n>>5&0xff, n<<3&0xff+last) }
	tag := fmt.Sprintf("%x", 0x10000+draw.IntN(0xf0000))
	w = &wire{namespace: "jlfaults" + tag, here: address(1), there: address(2), names: [2]string{"jlh" + tag, "jlt" + tag}}
	w.state.Store(&quality{})
	defer func() {
		if err != nil {
			w.remove()
		}
	}()
	if err := tool(ctx, "ip", "netns", "add", w.namespace); err != nil {
		return nil, err
	}
	for i, name := range w.names {
		if w.devices[i], err = tun(name); err != nil {
			return nil, err
		}
	}
	for _, args := range [][]string{
		{"link", "set", w.names[1], "netns", w.namespace},
		{"addr", "add", w.here + "/30", "dev", w.names[0]},
		{"link", "set", w.names[0], "up"},
		{"-n", w.namespace, "link", "set", "lo", "up"},
		{"-n", w.namespace, "addr", "add", w.there + "/30", "dev", w.names[1]},
		{"-n", w.namespace, "link", "set", w.names[1], "up"},
	} {
		if err := tool(ctx, "ip", args...); err != nil {
			return nil, err
		}
	}
	for i := range w.devices {
		seed := draw.Uint64()
		w.packets.Go(func() { w.carry(w.devices[i], w.devices[1-i], rand.New(rand.NewPCG(seed, uint64(i)))) })
	}
	return w, nil
}

// tun makes a device of which each read gives, and each write takes, an IP packet.
func tun(name string) (*os.File, error) {
	f, err := unix.Open("/dev/net/tun", unix.O_RDWR|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("/dev/net/tun: %w", err)
	}
	request, err := unix.NewIfreq(name)
	if err == nil {
		request.SetUint16(unix.IFF_TUN | unix.IFF_NO_PI)
		err = unix.IoctlIfreq(f, unix.TUNSETIFF, request)
	}
	if err != nil {
		_ = unix.Close(f) // the first error counts
		return nil, fmt.Errorf("a TUN device: %w", err)
	}
	// Made a file only now, when it can be waited for.
	return os.NewFile(uintptr(f), "/dev/net/tun"), nil
}

// packet is one on its way.
type packet struct {
	due  time.Time
	data []byte
}

// mostOnTheWay is how many packets the line holds; more are lost, as at a full router.
const mostOnTheWay = 60

// carry takes packets from one device to the other until they are closed.
func (w *wire) carry(from, to *os.File, draw *rand.Rand) {
	line := make(chan packet, mostOnTheWay)
	var delivered sync.WaitGroup
	delivered.Go(func() {
		for p := range line {
			time.Sleep(time.Until(p.due))
			_, _ = to.Write(p.data) // a device that is down takes none
		}
	})
	defer delivered.Wait()
	defer close(line)
	buffer := make([]byte, 1<<16)
	var free time.Time // when the line has passed what came before
	for {
		n, err := from.Read(buffer)
		if err != nil {
			return
		}
		q := w.state.Load()
		if q.loss > 0 && draw.Float64() < q.loss {
			continue
		}
		if now := time.Now(); free.Before(now) {
			free = now
		}
		if q.rate > 0 {
			free = free.Add(time.Duration(n) * time.Second / time.Duration(q.rate))
		}
		select {
		case line <- packet{free.Add(q.delay), append([]byte(nil), buffer[:n]...)}:
		default:
		}
	}
}

// is makes the line so.
func (w *wire) is(q quality) { w.state.Store(&q) }

// unplug takes the far end down, or up again: then not even its kernel finds a way.
func (w *wire) unplug(ctx context.Context, yes bool) error {
	return tool(ctx, "ip", "-n", w.namespace, "link", "set", w.names[1], map[bool]string{true: "down", false: "up"}[yes])
}

// inside starts a program at the far end.
func (w *wire) inside() launch { return launch{prefix: []string{"ip", "netns", "exec", w.namespace}} }

// remove takes everything away; the devices go with their files.
func (w *wire) remove() {
	for _, d := range w.devices {
		if d != nil {
			_ = d.Close() // it may be gone
		}
	}
	w.packets.Wait()
	_ = tool(context.Background(), "ip", "netns", "delete", w.namespace) // it may not have been made
}
