import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { stripVTControlCharacters } from 'node:util';
import { needTools } from './tools.ts';

const ROOT = fileURLToPath(new URL('..', import.meta.url));
/** The shell's prompt, as root and as anybody else. */
const SHELL_PROMPT = /[#$] $/;

/** A person at a terminal, who types a line when the prompt is there. */
export class Terminal {
  readonly #child: ChildProcess;
  #shown = '';
  /** All that was shown since the start. */
  output = '';
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
      this.output += stripVTControlCharacters(String(data));
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
