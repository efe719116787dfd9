/** What a driver's doctor asks, and the questions that several of them share. */

/** The machine that is examined; tests pass their own. */
export interface World {
  /** Version of Node, without the `v`. */
  nodeVersion: string;
  exists(path: string): Promise<boolean>;
  /** The text of a file; undefined when it cannot be read. */
  read(path: string): Promise<string | undefined>;
  /** What a program prints; `MISSING` when it is not installed. @throws Error when it fails */
  run(program: string, ...args: string[]): Promise<string | typeof MISSING>;
  /**
   * Why an npm package cannot be loaded; undefined when it can.
   * @param load loads it, where an import alone does not show the failure
   */
  cannotLoad(name: string, load?: () => unknown): Promise<string | undefined>;
  /** The pins that carry the outputs of a PWM chip; undefined where this is unknown. */
  pwmPins(chip: string): Promise<ReadonlySet<number> | undefined>;
}

export const MISSING = Symbol('not installed');

export interface Finding {
  /** What was examined: `Node`, `board head: /dev/i2c-1`. */
  what: string;
  /** `unknown`: it cannot be found out on this machine. */
  state: 'fine' | 'wrong' | 'unknown';
  /** The result, in words. */
  text: string;
  /** What to do about it if it is wrong. */
  remedy?: string;
}

/** A channel of the prop on the board that is examined. */
export interface Output {
  name: string;
  /** `servo`, `relay`, ... */
  kind: string;
  pins: readonly number[];
}

/** Where the board maker's system is told about its devices. */
export const CONFIG = '/boot/firmware/config.txt';
/** Where an installed release is; a clone has npm instead. */
export const INSTALLER = '/opt/sinew/install.sh';
/** The user that the service runs as. */
const SERVICE_USER = 'sinew';

/** Whether a file or folder exists; `remedy` says what to do if it does not. */
export async function file({ exists }: World, path: string, remedy: string): Promise<Finding> {
  if (await exists(path)) return { what: path, state: 'fine', text: 'is there' };
  return { what: path, state: 'wrong', text: 'is missing', remedy };
}

/** Whether the npm package koffi can be loaded. It comes compiled. */
export async function koffi(world: World, driver: string): Promise<Finding> {
  const what = 'package koffi';
  const why = await world.cannotLoad('koffi');
  if (why === undefined) return { what, state: 'fine', text: 'can be loaded' };
  return {
    what,
    state: 'wrong',
    text: `driver ${driver} needs it, and it cannot be loaded: ${why}`,
    remedy: (await world.exists(INSTALLER))
      ? 'run install.sh of a release for this kind of board again'
      : 'npm ci in the folder of Sinew',
  };
}

/** A program that sinew-safe-levels needs: one of `names` is enough. */
export async function program(
  { run }: World,
  names: string[],
  from: string,
  note?: string,
): Promise<Finding> {
  for (const name of names) {
    // An installed program may refuse to run without arguments.
    const said = await run(name, '-h').catch(() => '');
    if (said !== MISSING)
      return { what: `program ${name}`, state: 'fine', text: 'is there for sinew-safe-levels' };
  }
  return {
    what: `program ${names[0]}`,
    state: 'wrong',
    text: 'is not installed: sinew-safe-levels cannot make this board safe without it',
    remedy: `sudo apt install ${from}${note ? ` (${note})` : ''}`,
  };
}

/** Whether the service's user is in a group. */
export async function group({ read }: World, name: string): Promise<Finding> {
  const what = `group ${name}`;
  const users: string[] = (await read('/etc/passwd'))?.match(/^[^:\n]+/gm) ?? [];
  if (!users.includes(SERVICE_USER))
    return {
      what,
      state: 'unknown',
      text: `there is no user ${SERVICE_USER}: Sinew is not installed as a service`,
    };
  // group(5): name:password:number:member,member
  const line = (await read('/etc/group'))?.split('\n').find((one) => one.startsWith(`${name}:`));
  if (line?.split(':')[3]?.split(',').includes(SERVICE_USER))
    return { what, state: 'fine', text: `has the user ${SERVICE_USER}` };
  return {
    what,
    state: 'wrong',
    text: line ? `does not have the user ${SERVICE_USER}` : 'does not exist',
    remedy: line
      ? `sudo usermod -aG ${name} ${SERVICE_USER}, then restart sinewd`
      : 'run install.sh again, which makes it',
  };
}
