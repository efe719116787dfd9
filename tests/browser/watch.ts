import { type Daemon, Peer } from '../system/daemon.ts';

/** Sees from outside what the page makes the prop do. */
export class Watch {
  readonly peer: Peer;

  private constructor(peer: Peer) {
    this.peer = peer;
  }

  static async on(daemon: Daemon): Promise<Watch> {
    const peer = await Peer.connect(daemon);
    await peer.ask('session.open', { client: 'watch' });
    await peer.ask('state.follow', { hz: 50 });
    return new Watch(peer);
  }

  /** The newest state of a channel. */
  of(channel: string): Record<string, unknown> {
    return this.peer.states.findLast(({ channels }) => channels[channel])!.channels[channel]!;
  }

  deg(channel: string): number {
    return this.of(channel).value as number;
  }

  /** Resolves once the newest state of a channel is as wanted. */
  async until(channel: string, wanted: (state: Record<string, unknown>) => boolean): Promise<void> {
    await this.peer.until(() => (wanted(this.of(channel)) ? true : undefined));
  }

  async moving(channel: string): Promise<void> {
    await this.until(channel, ({ flags }) => (flags as string[]).includes('moving'));
  }

  /** Resolves once a servo stands at `deg`, within what a state frame tells (0.001 deg) and a bit. */
  async arrives(channel: string, deg: number): Promise<void> {
    await this.until(
      channel,
      ({ value, flags }) =>
        Math.abs((value as number) - deg) < 0.005 && !(flags as string[]).includes('moving'),
    );
  }

  /** Resolves once a channel has had no news for `forS` of the daemon's time. */
  async still(channel: string, forS = 0.6): Promise<number> {
    await this.peer.until(() => {
      const { states } = this.peer;
      const last = states.findLast(({ channels }) => channels[channel])!;
      const { flags } = last.channels[channel] as { flags: string[] };
      return !flags.includes('moving') && states.at(-1)!.t - last.t > forS ? true : undefined;
    });
    return this.deg(channel);
  }
}
