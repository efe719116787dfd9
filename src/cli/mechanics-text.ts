import { mechanicsOf } from '../prop/mechanics.ts';
import type { Prop } from '../prop/schema.ts';
import { tidy } from '../shared/units.ts';
import { WANTED_MARGIN } from '../sums/torque.ts';
import { runTimeS, showTimeS } from '../sums/vapour.ts';
import { table } from './output.ts';

/** The mechanical part of a budget. */
export interface MechanicsReport {
  torque: {
    channel: string;
    /** The most that the servo has to bring (N m), where (deg), and the part that accelerates (N m). */
    worstNm: number;
    atDeg: number;
    accelerationNm: number;
    stallNm?: number;
    margin?: number;
  }[];
  linkages: {
    channel: string;
    /** Torque on the flap for 1 N m on the horn, least and most. */
    advantage: [number, number];
    /** The least transmission angle, and where (deg). */
    transmissionDeg: number;
    transmissionAtDeg: number;
    /** The fastest that the horn has to turn (deg/s). */
    hornSpeedDegS: number;
  }[];
  vapour: { channel: string; tankMl: number; runTimeS: number; showTimeS?: number }[];
}

export function mechanicsReport(prop: Prop): MechanicsReport {
  const report: MechanicsReport = { torque: [], linkages: [], vapour: [] };
  for (const [channel, { worst, margin, linkage }] of mechanicsOf(prop)) {
    const spec = prop.channels[channel]!;
    const stallNm = spec.kind === 'servo' ? spec.stallNm : undefined;
    if (worst)
      report.torque.push({
        channel,
        worstNm: tidy(worst.torqueNm, 4),
        atDeg: tidy(worst.atDeg, 1),
        accelerationNm: tidy(worst.accelerationNm, 4),
        ...(stallNm !== undefined && { stallNm }),
        ...(margin !== undefined && { margin: tidy(margin, 2) }),
      });
    if (linkage)
      report.linkages.push({
        channel,
        advantage: [tidy(linkage.advantage[0], 2), tidy(linkage.advantage[1], 2)],
        transmissionDeg: tidy(linkage.transmissionDeg, 1),
        transmissionAtDeg: tidy(linkage.transmissionAtDeg, 1),
        hornSpeedDegS: tidy(linkage.hornSpeedDegS, 0),
      });
  }
  for (const [channel, spec] of Object.entries(prop.channels)) {
    if (spec.kind !== 'relay' || !spec.vapour) continue;
    const { vapour, duty } = spec;
    report.vapour.push({
      channel,
      tankMl: vapour.tankMl,
      runTimeS: tidy(runTimeS(vapour), 0),
      ...(duty && { showTimeS: tidy(showTimeS(vapour, duty), 0) }),
    });
  }
  return report;
}

/** The report for the terminal: a block for each part that the file tells of. */
export function mechanicsText({ torque, linkages, vapour }: MechanicsReport): string[] {
  const blocks: string[] = [];
  if (torque.length > 0) {
    const heading = ['servo', 'needs N m', 'at deg', 'to start N m', 'stalls at N m', 'margin'];
    const rows = torque.map((one) => [
      one.channel,
      String(tidy(one.worstNm, 3)),
      String(one.atDeg),
      String(tidy(one.accelerationNm, 3)),
      String(one.stallNm ?? ''),
      one.margin === undefined ? '' : one.margin.toFixed(1),
    ]);
    const note = `margin: common practice is ${WANTED_MARGIN} or more; friction is not counted.`;
    blocks.push(`${table(heading, rows)}\n\n${note}`);
  }
  if (linkages.length > 0) {
    const heading = ['linkage', 'least x', 'most x', 'rod at deg', 'flap at deg', 'horn deg/s'];
    const rows = linkages.map((one) => [
      one.channel,
      ...one.advantage.map((times) => times.toFixed(2)),
      String(one.transmissionDeg),
      String(one.transmissionAtDeg),
      String(one.hornSpeedDegS),
    ]);
    const note =
      'x: torque on the flap for that on the horn. rod: its least angle to the flap arm.';
    blocks.push(`${table(heading, rows)}\n\n${note}`);
  }
  if (vapour.length > 0) {
    const minutes = (s: number) => `${tidy(s / 60, s < 600 ? 1 : 0)} min`;
    const lines = vapour.map(({ channel, tankMl, runTimeS: on, showTimeS: show }) => {
      const rests = show === undefined ? '' : `, ${minutes(show)} with its rests`;
      return `${channel}: ${tankMl} ml last ${minutes(on)} of vapour${rests}`;
    });
    blocks.push(['Vapour', ...lines].join('\n'));
  }
  return blocks;
}
