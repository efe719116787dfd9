import { readTokenFile } from '../gateway/token.ts';
import { pageAddress } from '../shared/page-address.ts';
import { print, UsageError } from './output.ts';
import { connected } from './show-control.ts';
import { noWords, type ShowInputs } from './show-read.ts';
import { serveShowPage } from './show-server.ts';
import { address } from './values.ts';
import type { Operator, Outcome } from './verb.ts';

const DEFAULT = '127.0.0.1:7421';

/** `sinew show serve`: the page of the show, until Ctrl-C. */
export function serveAction(inputs: ShowInputs, operator: Operator): Promise<Outcome> {
  noWords(inputs);
  const { io } = operator;
  const { host: given, port } = whereOf(inputs.listen ?? DEFAULT);
  const host = given.replace(/^\[|\]$/g, '');
  return connected(inputs, operator, async (control, conductor, brokerProblem) => {
    const { pageToken: tokenFile } = inputs;
    const token = tokenFile === undefined ? undefined : readTokenFile(tokenFile);
    const folder = new URL('./show-page/', import.meta.url);
    const app = await serveShowPage({
      host,
      port,
      token,
      control,
      conductor,
      brokerProblem,
      folder,
    });
    const url = pageAddress(host, port);
    print(
      io.stdout,
      token === undefined
        ? `the show is at ${url}`
        : `the show is at ${url}#token=... with the token of ${tokenFile} in place of the dots`,
    );
    await new Promise<void>((resolve) => {
      const off = io.onInterrupt(() => {
        off();
        resolve();
      });
    });
    await app.close();
    return { result: undefined, text: '' };
  });
}

/** @throws UsageError */
function whereOf(text: string): { host: string; port: number } {
  try {
    return address(text);
  } catch {
    throw new UsageError(`${text} is not an address; give HOST:PORT`);
  }
}
