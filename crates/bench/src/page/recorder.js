// Runs beside the page, on the audio's own clock: hands the input over in blocks, each with the frame of that clock that it begins at. From: one input, its channels
// taken together.
const BLOCK = 2048;

class Recorder extends AudioWorkletProcessor {
  #block = new Float32Array(BLOCK);
  #filled = 0;
  #first = 0;

  process([input]) {
    const channels = input.length;
    // Without a channel nothing comes in; time goes on.
    const frames = channels ? input[0].length : 128;
    for (let i = 0; i < frames; i++) {
      if (!this.#filled) this.#first = currentFrame + i;
      let sum = 0;
      for (let c = 0; c < channels; c++) sum += input[c][i];
      this.#block[this.#filled++] = channels ? sum / channels : 0;
      if (this.#filled === BLOCK) {
        this.port.postMessage({ first: this.#first, samples: this.#block }, [this.#block.buffer]);
        this.#block = new Float32Array(BLOCK);
        this.#filled = 0;
      }
    }
    return true;
  }
}

registerProcessor("recorder", Recorder);
