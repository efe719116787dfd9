import { type ATTACKS, Attack } from '../attack.ts';

// An attacker in a process of its own.
// usage: node --import tsx attacker.ts PORT COUNT KIND PAUSE_MS
const [port, count, kind, pauseMs] = process.argv.slice(2) as [string, string, string, string];
const attack = new Attack(
  Number(port),
  Number(count),
  kind as keyof typeof ATTACKS,
  Number(pauseMs),
);

// Whoever started this waits until all have been there.
const look = setInterval(() => {
  if (attack.opened < Number(count)) return;
  clearInterval(look);
  process.stdout.write('there\n');
}, 10);
