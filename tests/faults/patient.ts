import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Daemon, OWL } from '../system/daemon.ts';

/**
 * The text of the owl with a link that may be silent for so long. What else runs in a test has the same
 * cores as its holder, which a laptop's would not: a holder that is kept from running is not a fault of the
 * daemon.
 */
export async function patientOwl(timeoutMs = 3000): Promise<string> {
  const owl = await readFile(OWL, 'utf8');
  const patient = owl.replace('timeoutMs: 500', `timeoutMs: ${timeoutMs}`);
  if (patient === owl) throw new Error('the owl has no timeoutMs: 500 any more');
  return patient;
}

/** A daemon on that owl, or on another text. */
export async function patientDaemon(args: string[], text?: string): Promise<Daemon> {
  const folder = await mkdtemp(join(tmpdir(), 'sinew-patient-'));
  try {
    const prop = join(folder, 'owl.yaml');
    await writeFile(prop, text ?? (await patientOwl()));
    return await Daemon.start({ prop, args });
  } finally {
    await rm(folder, { recursive: true });
  }
}
