import { play } from './invariants-play.ts';

// Plays the programs of seeds FROM, FROM + STEP, ... for TICKS each until UNTIL; tells each as a line of JSON.
const [from, until, step, ticks] = process.argv.slice(2).map(Number) as [
  number,
  number,
  number,
  number,
];
for (let seed = from; seed < until; seed += step)
  process.stdout.write(`${JSON.stringify(await play(seed, ticks))}\n`);
