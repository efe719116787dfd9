import { play } from './invariants-play.ts';

// Plays the programs of seeds FROM, FROM + STEP, ... for TICKS each until UNTIL, or until SECONDS are
// over; tells each as a line of JSON.
const [from, until, step, ticks, seconds] = process.argv.slice(2).map(Number) as [
  number,
  number,
  number,
  number,
  number,
];
const endMs = performance.now() + 1000 * seconds;
for (let seed = from; seed < until && performance.now() < endMs; seed += step)
  process.stdout.write(`${JSON.stringify(await play(seed, ticks))}\n`);
