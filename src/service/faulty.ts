import type { Loaded } from '../prop/load.ts';
import { Refusal } from '../shared/errors.ts';

/** @throws Refusal with the first error of a prop file, from which nothing can be worked out */
export function refuseFaulty({ findings }: Loaded): never {
  const { line, path, wrong } = findings.find(({ severity }) => severity === 'error')!;
  const reason = `the prop file has errors now (line ${line}: ${path}: ${wrong}); fix it, see sinew check`;
  throw new Refusal('file.has-errors', reason, { line, path });
}
