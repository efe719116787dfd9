import { mkdtemp, readFile, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { OWL } from '../system/daemon.ts';

/**
 * The owl with a link that may be silent for 3 s. The attackers of this suite run on the same cores as
 * its holder, which a laptop's would not: a holder that is kept from running is no fault of the daemon.
 */
export async function patientOwl(): Promise<string> {
  const file = join(await mkdtemp(join(tmpdir(), 'sinew-patient-')), 'owl.yaml');
  const owl = await readFile(OWL, 'utf8');
  const patient = owl.replace('timeoutMs: 500', 'timeoutMs: 3000');
  if (patient === owl) throw new Error('the owl has no timeoutMs: 500 any more');
  await writeFile(file, patient);
  return file;
}
