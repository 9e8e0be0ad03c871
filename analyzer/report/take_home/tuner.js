// A tuner that knows the note: what the microphone hears against the note under the cursor. Needs PitchDetector.

const WINDOW = 4096, CLEAR = 0.85, QUIET = 0.004;

/** How far the slide must move for a pitch that is `cents` beside its note. [mm, + out] */
export function slideMove(cents, half_mm) { return half_mm * (2 ** (cents / 1200) - 1); }

export class Tuner {
  /** `told` is called with {hz, cents, clarity} some twenty times a second, with null where nothing clear is heard. */
  constructor(context, stream, wanted, told) {
    Object.assign(this, { context, stream, wanted, told });
    this.source = context.createMediaStreamSource(stream);
    this.analyser = context.createAnalyser();
    this.analyser.fftSize = WINDOW;
    this.source.connect(this.analyser);
    this.detector = PitchDetector.forFloat32Array(WINDOW);
    this.samples = new Float32Array(WINDOW);
    this.timer = setInterval(() => this.#listen(), 50);
  }

  #listen() {
    this.analyser.getFloatTimeDomainData(this.samples);
    let power = 0;
    for (const sample of this.samples) power += sample * sample;
    if (Math.sqrt(power / WINDOW) < QUIET) { this.told(null); return; }
    const [hz, clarity] = this.detector.findPitch(this.samples, this.context.sampleRate);
    if (clarity < CLEAR || hz < 26 || hz > 1500) { this.told(null); return; }
    const target = this.wanted();
    this.told({ hz, clarity, cents: target ? 1200 * Math.log2(hz / target) : null });
  }

  stop() {
    clearInterval(this.timer);
    this.source.disconnect();
  }
}

/** Records what the microphone hears, and gives it as a WAV file (16 bits, one channel). */
export class Recorder {
  static worklet = "class Take extends AudioWorkletProcessor{process(i){if(i[0][0])this.port.postMessage(i[0][0].slice(0));return true}}registerProcessor('take',Take)";

  static async begin(context, stream) {
    // A worklet from a blob: URL does not load in a page from a file; from a data: URL it does.
    await context.audioWorklet.addModule(`data:text/javascript,${encodeURIComponent(Recorder.worklet)}`);
    return new Recorder(context, stream);
  }

  constructor(context, stream) {
    this.context = context;
    this.blocks = [];
    this.source = context.createMediaStreamSource(stream);
    this.node = new AudioWorkletNode(context, "take");
    this.node.port.onmessage = ({ data }) => this.blocks.push(data);
    this.source.connect(this.node);
  }

  get seconds() { return this.blocks.reduce((sum, block) => sum + block.length, 0) / this.context.sampleRate; }

  end() {
    this.source.disconnect();
    this.node.disconnect();
    return wavOf(this.blocks, this.context.sampleRate);
  }
}

export function wavOf(blocks, rate) {
  const count = blocks.reduce((sum, block) => sum + block.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const text = (at, word) => [...word].forEach((letter, k) => view.setUint8(at + k, letter.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * count, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, rate * 2, true); view.setUint16(32, 2, true); view.setUint16(34, 16, true);
  text(36, "data"); view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const block of blocks) for (const sample of block) { view.setInt16(at, Math.max(-1, Math.min(1, sample)) * 32767, true); at += 2; }
  return new Blob([view], { type: "audio/wav" });
}
