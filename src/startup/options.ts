import { parseArgs } from 'node:util';

export const USAGE = `sinewd --prop FILE [--listen HOST:PORT] [--token-file F] [--state-dir D]

  --prop FILE         the prop file
  --new [FILE]        begin with an empty prop where there is no such file yet: the page
                      then asks what the prop is made of. Nothing is overwritten
  --listen HOST:PORT  where to listen; 127.0.0.1:7420 without it
  --token-file F      a file (mode 0600) that holds the token clients must show;
                      needed for any address but this machine's own
  --state-dir D       where positions and duty guards are kept across restarts
  --prepare           only read and check the prop file, so that the next start is quick
  --log LEVEL         debug, info (default), warn or error
  --version, --help
`;

/** The command line is wrong; the message says how. */
export class Usage extends Error {}

export interface Options {
  prop: string;
  /** Make an empty prop file where there is none. */
  create: boolean;
  host: string;
  port: number;
  tokenFile: string | undefined;
  stateDir: string | undefined;
  logLevel: string;
  /** Only keep what is worked out from the file, and end. */
  prepare: boolean;
}

/** The command line of the daemon. @throws Usage */
export function readOptions(argv: readonly string[]): Options | 'help' | 'version' {
  let values: Record<string, string | boolean | undefined>;
  let positionals: string[];
  try {
    ({ values, positionals } = parseArgs({
      args: [...argv],
      allowPositionals: true,
      options: {
        prop: { type: 'string' },
        new: { type: 'boolean', default: false },
        listen: { type: 'string', default: '127.0.0.1:7420' },
        'token-file': { type: 'string' },
        'state-dir': { type: 'string' },
        log: { type: 'string', default: 'info' },
        prepare: { type: 'boolean', default: false },
        version: { type: 'boolean' },
        help: { type: 'boolean' },
      },
    }));
  } catch (error) {
    throw new Usage((error as Error).message);
  }
  if (values.help) return 'help';
  if (values.version) return 'version';
  const create = values.new === true;
  // `npm start -- --new FILE` comes after the example that it names.
  const [named, ...others] = positionals;
  const strange = create ? others[0] : named;
  if (strange !== undefined)
    throw new Usage(`${strange} is not expected here; the prop file is given by --prop FILE`);
  const prop = named ?? values.prop;
  if (typeof prop !== 'string') throw new Usage('--prop FILE is missing');
  if (create && values.prepare) throw new Usage('--new and --prepare do not go together');
  const logLevel = String(values.log);
  if (!['debug', 'info', 'warn', 'error'].includes(logLevel))
    throw new Usage(`--log ${logLevel}: use debug, info, warn or error`);
  return {
    prop,
    create,
    ...readListen(String(values.listen)),
    tokenFile: values['token-file'] as string | undefined,
    stateDir: values['state-dir'] as string | undefined,
    logLevel,
    prepare: values.prepare === true,
  };
}

function readListen(text: string): { host: string; port: number } {
  const match = /^(?:\[([^\]]+)\]|([^:]*)):(\d{1,5})$/.exec(text);
  const host = match?.[1] ?? match?.[2];
  const port = Number(match?.[3]);
  if (!host || port > 65_535)
    throw new Usage(`--listen ${text}: give HOST:PORT, such as 127.0.0.1:7420 or [::1]:7420`);
  return { host, port };
}
