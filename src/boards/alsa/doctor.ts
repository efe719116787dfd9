import { type Finding, group, MISSING, type World } from '../doctor.ts';
import type { AlsaBoard } from './facts.ts';

/** What a sound card needs from this machine. */
export async function questions(world: World, { device }: AlsaBoard): Promise<Finding[]> {
  const what = 'aplay';
  const findings: Finding[] = [];
  try {
    const text = await world.run('aplay', '-L');
    if (text === MISSING)
      findings.push({
        what,
        state: 'wrong',
        text: 'is not installed: the prop is silent, everything else works',
        remedy: 'sudo apt install alsa-utils',
      });
    else {
      findings.push({ what, state: 'fine', text: 'is there' });
      const names = text.split('\n').filter((line) => /^\S/.test(line));
      const [card] = device.split(':');
      const known = names.some((name) => name === device || name.split(':')[0] === card);
      findings.push(
        known
          ? { what: `sound device ${device}`, state: 'fine', text: 'is known to ALSA' }
          : {
              what: `sound device ${device}`,
              state: 'wrong',
              text: 'is not known to ALSA: the prop is silent, everything else works',
              remedy: 'plug the sound card in; aplay -L lists the devices',
            },
      );
    }
  } catch (error) {
    findings.push({ what, state: 'unknown', text: (error as Error).message });
  }
  findings.push(await group(world, 'audio'));
  return findings;
}
