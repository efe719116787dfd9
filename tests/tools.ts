import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';

/**
 * Sees to it that a test has the tools that it needs: no test passes by being left out. As root where
 * there is apt they are installed; anybody else reads what to type.
 * @param missing names the tools that are not there
 * @param hint another way out, for the message
 * @throws Error with the command to type
 */
export function needTools(
  purpose: string,
  packages: readonly string[],
  missing: () => string[],
  hint = '',
): void {
  const before = missing();
  if (before.length === 0) return;
  const install = `apt-get update && apt-get install -y ${packages.join(' ')}`;
  if (process.getuid?.() === 0 && existsSync('/usr/bin/apt-get')) {
    console.log(`missing, and needed for ${purpose}: ${before.join(', ')}. Installing: ${install}`);
    execFileSync('/bin/sh', ['-c', install], {
      stdio: 'inherit',
      env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' },
    });
  }
  const after = missing();
  if (after.length > 0)
    throw new Error(
      `${after.join(', ')} is needed for ${purpose}. Type: sudo sh -c '${install}'${hint}`,
    );
}
