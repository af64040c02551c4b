package shop

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// A bench and a reader with servers as they are released: the one of our go.mod,
// built as a program of its own, and the older one that Debian has. Each is killed
// while the bench has something to say, and started again.
func TestReleasedServers(t *testing.T) {
	if os.Getenv("LOBESCRIBE_PEERS") == "" {
		t.Skip("LOBESCRIBE_PEERS=1 asks for the tests against released NATS servers (Debian: nats-server)")
	}
	built := filepath.Join(t.TempDir(), "nats-server")
	out, err := exec.Command("go", "build", "-o", built, "github.com/nats-io/nats-server/v2").CombinedOutput()
	require.NoError(t, err, "%s", out)
	debian, err := exec.LookPath("nats-server")
	if err != nil {
		debian = "/usr/sbin/nats-server" // not on everybody's path
	}
	for name, program := range map[string]string{"of go.mod": built, "of Debian": debian} {
		t.Run(name, func(t *testing.T) {
			free, err := net.Listen("tcp", "127.0.0.1:0")
			require.NoError(t, err)
			addr := free.Addr().(*net.TCPAddr)
			require.NoError(t, free.Close())
			folder := t.TempDir()
			open := func() (kill func()) {
				cmd := exec.Command(program, "-js", "-sd", folder, "-a", addr.IP.String(), "-p", strconv.Itoa(addr.Port))
				var said strings.Builder
				cmd.Stderr = &said
				require.NoError(t, cmd.Start(), "apt-get install nats-server")
				kill = func() {
					cmd.Process.Kill()
					cmd.Wait()
					if t.Failed() {
						t.Log(said.String())
					}
				}
				t.Cleanup(kill)
				return kill
			}
			kill := open()
			at := Server{URL: "nats://" + addr.String()}
			s := newStore(t)
			putEngine(t, s, "v8")
			running(t, newPublisher(t, s, "bench-1", at).Run)
			want := someReadings(40_000)
			record(t, s, storage.Head{Engine: "v8", Valve: "1I", Source: "live"}, want)
			waitSent(t, s)
			kill()
			for range 20 {
				record(t, s, storage.Head{Engine: "v8", Valve: "1E", Source: "live"}, someReadings(500))
			}
			open()
			waitSent(t, s)

			got := read(t, at)
			list := traces(t, got)
			require.Len(t, list, 21)
			for _, one := range list {
				if one.Valve == "1I" {
					assert.Equal(t, want, readingsOf(t, got, one.ID))
				}
			}
			benches, err := Benches(got)
			require.NoError(t, err)
			require.Len(t, benches, 1)
			assert.Equal(t, uint64(50_000), benches[0].Readings)
			assert.Zero(t, benches[0].Held)
			assert.Equal(t, rows(t, got), rows(t, read(t, at)), "made again of the same stream")
		})
	}
}
