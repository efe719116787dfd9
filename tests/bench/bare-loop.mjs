// A loop on an absolute schedule and nothing else: prints how late each turn came (ms).
const [periodMs, turns] = process.argv.slice(2).map(Number);
const late = new Float64Array(turns);
const startMs = performance.now();
let turn = 0;
const wake = () => {
  // A timer may fire a little early: it rounds to whole ms.
  const lateMs = performance.now() - (startMs + (turn + 1) * periodMs);
  if (lateMs >= -0.5) late[turn++] = lateMs;
  if (turn < turns) setTimeout(wake, startMs + (turn + 1) * periodMs - performance.now());
  else process.stdout.write(JSON.stringify([...late]));
};
setTimeout(wake, periodMs);
