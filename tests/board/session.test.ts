import { afterEach, expect, it } from 'vitest';
import { firstSession } from '../readme.ts';
import { Terminal } from '../terminal.ts';
import { LONG } from './long.ts';
import { Stage, SUBJECTS } from './stage.ts';

const PARKING_MS = 500 + 100;

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
    const { command, answer, lines } = firstSession();
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
