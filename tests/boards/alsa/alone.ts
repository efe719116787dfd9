import { toClip } from '../../../src/boards/alsa/mix.ts';
import { Player } from '../../../src/boards/alsa/player.ts';
import { monotonicMs } from '../../../src/boards/alsa/sound-work.ts';

/** A process that plays on and on, until a test kills it. */
const player = new Player('tofile', new Float64Array([1]), { nowMs: monotonicMs, news: () => {} });
player.open();
const samples = new Float32Array(60 * 48_000).fill(0.5);
player.play(0, 'on and on', toClip([samples]), monotonicMs());
