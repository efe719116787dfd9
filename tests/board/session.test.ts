import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { stripVTControlCharacters } from 'node:util';
import { afterEach, expect, it } from 'vitest';
import { needTools } from '../tools.ts';
import { LONG } from './long.ts';
import { Stage, SUBJECTS } from './stage.ts';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const PARKING_MS = 500 + 100;
/** The shell's prompt, as root and as anybody else. */
const SHELL_PROMPT = /[#$] $/;

/** The command, the answer to its question, and the lines of the README's first session, word for word. */
async function readme(): Promise<{ command: string; answer: string; lines: string[] }> {
  const text = await readFile(join(ROOT, 'README.md'), 'utf8');
  const section = text.slice(text.indexOf('## Five minutes with the owl'));
  const block = /```console\n([\s\S]*?)```/.exec(section)![1]!.trim().split('\n');
  const [first, question, ...rest] = block;
  const answer = /Wake\? \[y\/N\] (.+)$/.exec(question!)?.[1];
  const said = rest.flatMap((line) => /^live> (.+)$/.exec(line)?.[1] ?? []);
  if (!first!.startsWith('$ ') || !answer || said.length < 2)
    throw new Error(`the README's session has another form now:\n${block.join('\n')}`);
  return { command: first!.slice(2), answer, lines: said };
}

/** A person at a terminal, who types a line when the prompt is there. */
class Terminal {
  readonly #child: ChildProcess;
  #shown = '';
  #more: () => void = () => {};
  #ended = false;

  /** script(1) is the terminal: when it is killed, its side of the pseudo-terminal is closed. */
  private constructor(command: string, env: NodeJS.ProcessEnv) {
    needTools('a terminal', ['bsdutils', 'bash'], () =>
      ['script', 'bash'].filter((tool) => spawnSync('which', [tool]).status !== 0),
    );
    // A terminal is a session of its own, which has to go before other programs as this one does.
    const first = 'test ! -e /proc/self/autogroup || echo -20 > /proc/self/autogroup; exec';
    const run = `${first} ${command}`;
    this.#child = spawn('script', ['--quiet', '--flush', '--command', run, '/dev/null'], {
      cwd: ROOT,
      env: { ...env, TERM: 'dumb', npm_config_update_notifier: 'false' },
      stdio: ['pipe', 'pipe', 'inherit'],
    });
    this.#child.stdout!.on('data', (data) => {
      this.#shown += data;
      this.#more();
    });
    this.#child.once('exit', () => {
      this.#ended = true;
      this.#more();
    });
  }

  /** A window with a shell, at which the command is typed. */
  static async window(command: string, env: NodeJS.ProcessEnv): Promise<Terminal> {
    const terminal = new Terminal('bash --norc --noprofile -i', env);
    await terminal.#until((shown) => SHELL_PROMPT.test(shown));
    terminal.#write(command);
    return terminal;
  }

  /** The command is all that runs in the terminal, as `ssh -t owl npx sinew session` has it. */
  static bare(command: string, env: NodeJS.ProcessEnv): Terminal {
    return new Terminal(command, env);
  }

  /** Waits for a prompt, then types the next line, and waits until its answer and the next prompt are there. */
  async say(line: string): Promise<string> {
    await this.prompt();
    this.#write(line);
    await this.prompt();
    return stripVTControlCharacters(this.#shown);
  }

  /** Waits until the session asks, and answers. */
  async answer(text: string): Promise<void> {
    await this.#until((shown) => /Wake\? \[y\/N\] $/.test(shown));
    this.#write(text);
  }

  /** The session's prompt is the condition of the prop. */
  prompt(): Promise<void> {
    return this.#until((shown) => /[a-z]+> $/.test(shown));
  }

  #write(line: string): void {
    this.#shown = '';
    this.#child.stdin!.write(`${line}\r`);
  }

  async #until(there: (shown: string) => boolean): Promise<void> {
    for (;;) {
      const shown = stripVTControlCharacters(this.#shown);
      if (there(shown)) return;
      if (this.#ended || SHELL_PROMPT.test(shown))
        throw new Error(`the session has ended by itself: ${shown}`);
      await new Promise<void>((resolve) => {
        this.#more = resolve;
      });
    }
  }

  close(): void {
    this.#child.kill('SIGKILL');
  }
}

let stage: Stage;
let terminal: Terminal | undefined;
/** @param known it was parked before, so that no question is asked */
async function start(known: boolean): Promise<void> {
  stage = await Stage.start(SUBJECTS[0]!, { known });
  await stage.condition();
}
afterEach(async () => {
  terminal?.close();
  terminal = undefined;
  await stage.cleanUp();
});

const clientEnv = () => ({
  ...stage.board.clientEnv,
  SINEW_HOST: `127.0.0.1:${stage.board.daemon.port}`,
  XDG_STATE_HOME: stage.board.daemon.folder,
});

/** Closes the terminal; how long until parking began, by the daemon's own time (ms). */
async function parksAfterClosing(): Promise<number> {
  const closedMs = stage.board.wallMs();
  terminal!.close();
  await stage.watch.untilState(({ condition }) => condition === 'parked');
  return (await stage.becameMs('parking')) - closedMs;
}

/** A person's own programs share a processor with whatever else this machine does. */
const RETRY = { retry: 2 };

const writes = (line: string) => line.startsWith('mark ');

const SESSIONS: [string, (line: string) => boolean][] = [
  ["the README's session, word for word,", () => true],
  ['the same without what writes a file', (line) => !writes(line)],
];

it.each(LONG ? SESSIONS : SESSIONS.slice(0, 1))(
  '%s loses no tick and no link, and the prop parks when the window is closed',
  RETRY,
  async (_name, wanted) => {
    await start(false);
    const { command, answer, lines } = await readme();
    if (lines.filter(writes).join() !== 'mark beak ajar')
      throw new Error(`the README captures something else now: ${lines.join(' / ')}`);
    const { board, watch } = stage;
    const value = (channel: string) =>
      watch.states.findLast(({ channels }) => channels[channel])?.channels[channel]?.value;
    terminal = await Terminal.window(command, clientEnv());
    await terminal.answer(answer);
    await terminal.prompt();
    expect(await stage.condition()).toBe('live');
    const mark = await board.mark();
    const said: string[] = [];
    for (const line of lines.filter(wanted)) {
      said.push(await terminal.say(line));
      expect(await stage.condition(), said.join('\n')).toBe('live');
    }
    const feathers = ['tail_1', 'tail_2', 'tail_3', 'tail_4'];
    await watch.until(() => (feathers.every((one) => value(one) === 40) ? true : undefined));
    const seen = await board.since(mark);
    // 30 deg (open) less 4.5; as a mark it is in the file.
    expect(value('beak')).toBe(25.5);
    const inFile = /^ {2}beak:[^#]*(#.*\n[^#]*)*?marks: \{[^}]*ajar: 25\.5/m;
    expect(inFile.test(await board.daemon.readProp()), said.join('\n')).toBe(
      lines.filter(wanted).some(writes),
    );
    const arrived = feathers.map(
      (one) => watch.states.find(({ channels }) => channels[one]?.value === 40)!.t,
    );
    // State frames come at 50 Hz.
    expect(Math.max(...arrived) - Math.min(...arrived)).toBeLessThanOrEqual(0.021);
    expect(seen.gapTicks, JSON.stringify(seen)).toBeLessThanOrEqual(2);

    const tookMs = await parksAfterClosing();
    expect(tookMs).toBeLessThanOrEqual(PARKING_MS);
    expect(tookMs).toBeGreaterThanOrEqual(0);
  },
);

// There is no shell that ends what runs in it: the session itself must see that its terminal is gone.
it('the prop parks when a terminal without a shell is closed', async () => {
  await start(true);
  terminal = Terminal.bare('npx sinew --wake session', clientEnv());
  await terminal.say('move beak open');
  expect(await parksAfterClosing()).toBeLessThanOrEqual(PARKING_MS);
});
