import { describeApi, Fuzzer } from './protocol-fuzzer.ts';

// Attacks the daemon at PORT until FRAMES are sent or SECONDS are over, from seed FROM on, so many
// connections AT_ONCE; tells the sum as JSON at the end.
const [port, frames, seconds, from, atOnce] = process.argv.slice(2).map(Number) as [
  number,
  number,
  number,
  number,
  number,
];
const fuzzer = new Fuzzer(port, await describeApi(port));
const endMs = performance.now() + 1000 * seconds;
let seed = from;
async function attack(): Promise<void> {
  while (
    fuzzer.outcome.frames < frames &&
    performance.now() < endMs &&
    fuzzer.outcome.wrong.length < 50
  )
    await fuzzer.connection(seed++);
}
await Promise.all(Array.from({ length: atOnce }, attack));
process.stdout.write(JSON.stringify(fuzzer.outcome));
