package shop

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// A workshop's own server (a leaf node) stands between the bench and the server
// with the stream, and is killed as by a power cut, a dozen times and each time
// while there is something to say. It says nothing more and hands nothing over:
// what the bench was not told to be in the stream, it sends again. Each record is
// there once, whole and in order. The moments are the bench's own steps, and not
// those of a clock.
func TestALeafNodeThatIsKilled(t *testing.T) {
	if os.Getenv("LOBESCRIBE_PEERS") == "" {
		t.Skip("LOBESCRIBE_PEERS=1 asks for the tests against released NATS servers")
	}
	folder := t.TempDir()
	program := filepath.Join(folder, "nats-server")
	out, err := exec.Command("go", "build", "-o", program, "github.com/nats-io/nats-server/v2").CombinedOutput()
	require.NoError(t, err, "%s", out)
	var ports []int
	for range 3 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		ports = append(ports, l.Addr().(*net.TCPAddr).Port)
		require.NoError(t, l.Close())
	}
	start := func(name, config string) (kill func()) {
		file := filepath.Join(folder, name+".conf")
		require.NoError(t, os.WriteFile(file, []byte(config), 0o600))
		cmd := exec.Command(program, "-c", file)
		require.NoError(t, cmd.Start())
		dead := false
		kill = func() {
			if !dead {
				dead = true
				assert.NoError(t, cmd.Process.Kill()) // SIGKILL
				_ = cmd.Wait()                        // it was killed
			}
		}
		t.Cleanup(kill)
		return kill
	}
	start("hub", fmt.Sprintf("listen: \"127.0.0.1:%d\"\njetstream { store_dir: %q, domain: hub }\nleafnodes { listen: \"127.0.0.1:%d\" }\n", ports[0], filepath.Join(folder, "js"), ports[1]))
	// A leaf that has no stream of its own passes on what is asked of one.
	leaf := func() func() {
		return start("leaf", fmt.Sprintf("listen: \"127.0.0.1:%d\"\nmappings { \"$JS.API.>\": \"$JS.hub.API.>\" }\nleafnodes { reconnect: 1, remotes: [ { url: \"nats-leaf://127.0.0.1:%d\" } ] }\n", ports[2], ports[1]))
	}
	hub := Server{URL: fmt.Sprintf("nats://127.0.0.1:%d", ports[0])}
	require.Eventually(t, func() bool {
		l, err := dial(t.Context(), dialing{hub, "shop", pace{}, quiet()})
		if err == nil {
			l.close()
		}
		return err == nil
	}, patience, 50*time.Millisecond)
	streamState(t, hub, StreamOptions{})

	kill := leaf()
	s := newStore(t)
	putEngine(t, s, "v8")
	running(t, newPublisher(t, s, "bench-1", Server{URL: fmt.Sprintf("nats://127.0.0.1:%d", ports[2])}).Run)
	const kills = 20
	ids := map[string]int{}
	for n := range kills {
		for i := range 4 {
			count := 500 + 17_000*(i%2) + n // every second one in parts
			remark := fmt.Sprint(n, "/", i)
			record(t, s, storage.Head{Engine: "v8", Valve: "1I", Remark: remark}, someReadings(count))
			ids[remark] = count
		}
		// Some of it is under way: the stream has grown since, or all was sent.
		before := streamState(t, hub, StreamOptions{}).LastSeq
		for range 3 * (n % 4) { // at once, or after some of it
			if streamState(t, hub, StreamOptions{}).LastSeq > before {
				break
			}
		}
		kill()
		kill = leaf()
	}
	waitSent(t, s)

	got := read(t, hub)
	list := traces(t, got)
	require.Len(t, list, len(ids))
	for _, one := range list {
		count, ok := ids[one.Remark]
		require.True(t, ok, "%s is there twice, or was never recorded", one.Remark)
		delete(ids, one.Remark)
		assert.Equal(t, someReadings(count), readingsOf(t, got, one.ID), one.Remark)
	}
	inOrder(t, hub)
}
