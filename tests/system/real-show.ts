import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Mosquitto, PASSWORDS } from '../mosquitto.ts';
import { Daemon, OWL, Peer } from './daemon.ts';

/** Cues that end soon. */
const CUES = `cues:
  glow: [{ at: 0, dim: { lantern: 0.4 }, fadeS: 0.3 }]
  dusk: [{ at: 0, dim: { lantern: 0.1 }, fadeS: 0.3 }]`;

/** A real broker, and two real daemons that have a show there: the owl, and another owl, called barn. */
export class RealShow {
  readonly broker: Mosquitto;
  readonly home: string;
  owl!: Daemon;
  barn!: Daemon;

  private constructor(broker: Mosquitto, home: string) {
    this.broker = broker;
    this.home = home;
  }

  static async make(): Promise<RealShow> {
    const home = await mkdtemp(join(tmpdir(), 'sinew-real-show-'));
    const show = new RealShow(await Mosquitto.make(), home);
    const { broker } = show;
    await broker.setPasswords({ ...PASSWORDS, barn: PASSWORDS.owl });
    // The page of the owl may command, that of the barn may not.
    await broker.allowPage('owl');
    await writeFile(join(home, 'show-password'), PASSWORDS.conductor, { mode: 0o600 });
    await broker.start();
    [show.owl, show.barn] = await Promise.all([show.#start('owl'), show.#start('barn')]);
    return show;
  }

  async #start(name: string): Promise<Daemon> {
    const prop = join(this.home, `${name}.yaml`);
    // The machine of a test may be busy.
    const text = `${(await readFile(OWL, 'utf8')).replace(/^cues:$/m, CUES)}
show:
  name: foyer
  prop: ${name}
  parkAfterS: 30
  maxUncertaintyMs: 200
  broker:
    url: mqtts://127.0.0.1:${this.broker.tlsPort}
    username: ${name}
    passwordFile: ${this.broker.passwordFile}
    caFile: ${this.broker.caFile}
`;
    await writeFile(prop, text);
    return Daemon.start({ prop });
  }

  /** Writes the file of the show, with that timeline. @returns its path */
  async file(timeline: object[]): Promise<string> {
    const file = join(this.home, 'show.yaml');
    const broker = {
      url: `mqtts://127.0.0.1:${this.broker.tlsPort}`,
      username: 'conductor',
      passwordFile: join(this.home, 'show-password'),
      caFile: this.broker.caFile,
    };
    const props = { owl: { file: 'owl.yaml' }, barn: { file: 'barn.yaml' } };
    // JSON is YAML.
    const text = JSON.stringify({
      ...{ sinewShow: 1, name: 'foyer', broker, leadS: 4, props, timeline },
    });
    await writeFile(file, text);
    return file;
  }

  async cleanUp(): Promise<void> {
    await Promise.all([this.owl?.cleanUp(), this.barn?.cleanUp()]);
    await this.broker.cleanUp();
    await rm(this.home, { recursive: true, force: true });
  }
}

/** Somebody at a prop, who sees what it does. */
export async function onlooker(daemon: Daemon): Promise<Peer> {
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client: 'tablet' });
  await peer.ask('state.follow', { hz: 20 });
  return peer;
}
