// Plays by the page's own modules and records what goes to the loudspeakers, sample
// by sample. A flow runs when the button is really clicked.

const events = (await (await fetch("/api/v1/events")).json()).events;
const { Player } = await import("/page/sound/player.js");
const { Timeline } = await import("/page/timeline.js");

const recorder = `registerProcessor("recorder", class extends AudioWorkletProcessor {
  process([input]) {
    this.port.postMessage([currentFrame, input[0] ? input[0].slice() : null]);
    return true;
  }
});`;
const module = URL.createObjectURL(new Blob([recorder], { type: "text/javascript" }));

const rig = {
  told: { times: [], states: [], troubles: [] },
  blocks: [],
  id: {},

  sleep: (ms) => new Promise((resolve) => setTimeout(resolve, ms)),

  async until(what) {
    while (!what()) await rig.sleep(10);
  },

  /** Reads the clock of the only event. */
  async read() {
    const event = `/api/v1/events/${events[0].id}`;
    rig.clock = await (await fetch(`${event}/clock`)).json();
    rig.detail = await (await fetch(event)).json();
    rig.timeline = new Timeline(rig.clock, rig.detail.recordings);
    for (const { recording, source } of rig.clock.recordings) rig.id[source.label] = recording.id;
  },

  /** A player whose sound is recorded. */
  async player(options = {}) {
    let attached;
    const player = new Player({
      onTime: (ms) => rig.told.times.push([performance.now(), rig.context.currentTime, ms]),
      onChange: (state) => rig.told.states.push(state),
      onTrouble: (text) => rig.told.troubles.push(text),
      tap: (context, node) => {
        rig.context = context;
        attached = context.audioWorklet.addModule(module).then(() => {
          const worklet = new AudioWorkletNode(context, "recorder");
          worklet.port.onmessage = ({ data }) => rig.blocks.push(data);
          node.connect(worklet);
        });
      },
      ...options,
    });
    player.setTimeline(rig.timeline);
    // It begins with the first play, of something that isn't there.
    player.play({ recording: "nothing", startMs: 0, endMs: 50 });
    await attached;
    await rig.until(() => rig.blocks.length > 50 && !player.state.playing);
    rig.clear();
    rig.told.troubles = [];
    return player;
  },

  clear() {
    rig.blocks = [];
    rig.told.times = [];
    rig.told.states = [];
  },

  /** Until it has ended, and has been recorded. */
  async ended(player) {
    await rig.until(() => !player.state.playing);
    await rig.sleep(300);
  },

  /** What was recorded: its first frame on the context's clock, and samples as hex. */
  taken() {
    // Blocks come in order, none is left out; their numbers may be read a block late.
    const beside = rig.blocks.map(([frame], n) => frame - 128 * n).sort((a, b) => a - b);
    const bytes = new Uint8Array(rig.blocks.length * 512);
    const samples = new Float32Array(bytes.buffer);
    rig.blocks.forEach(([, block], n) => block && samples.set(block, n * 128));
    let hex = "";
    for (const byte of bytes) hex += (byte + 256).toString(16).slice(1);
    return { frame: beside[beside.length >> 1], hex };
  },
};

const button = document.createElement("button");
button.id = "go";
button.textContent = "go";
button.style.cssText = "position:fixed;top:0;left:0;z-index:99;width:90px;height:40px";
button.addEventListener("click", () => {
  window.flow().then(
    (value) => (window.outcome = { value: value ?? null }),
    (error) => (window.outcome = { error: String(error.stack ?? error) }),
  );
});
document.body.append(button);
await rig.read();
window.rig = rig;
