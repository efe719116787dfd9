import { relayOf, servoOf } from '../prop/kinds/channel.ts';
import {
  type EdgeInfo,
  edgeInfo,
  type LinkageInfo,
  linkageInfo,
  type TorqueInfo,
  torqueInfo,
  type VapourInfo,
  vapourInfo,
} from '../prop/kinds/info.ts';
import { mechanicsOf } from '../prop/mechanics.ts';
import type { Prop } from '../prop/schema.ts';
import { tidy } from '../shared/units.ts';
import { ORIENTATION_TEXT } from '../sums/edge-force.ts';
import { KGF_CM_NM } from '../sums/servo-line.ts';
import { WANTED_MARGIN } from '../sums/torque.ts';
import { table } from './output.ts';

/** The mechanical part of a budget. */
interface MechanicsReport {
  torque: ({ channel: string } & TorqueInfo)[];
  linkages: ({ channel: string } & LinkageInfo)[];
  edges: ({ channel: string } & EdgeInfo)[];
  vapour: ({ channel: string } & VapourInfo)[];
}

/** Torque, linkage and vapour figures of the channels that have any; units are in the names. */
export function mechanicsReport(prop: Prop): MechanicsReport {
  const report: MechanicsReport = { torque: [], linkages: [], edges: [], vapour: [] };
  const mechanics = mechanicsOf(prop);
  for (const [channel, spec] of Object.entries(prop.channels)) {
    const relay = relayOf(spec);
    const vapour = relay && vapourInfo(relay);
    if (vapour) report.vapour.push({ channel, ...vapour });
    const known = mechanics.get(channel);
    if (!known) continue;
    const torque = torqueInfo(known, known.stallNm);
    const linkage = linkageInfo(known);
    if (torque) report.torque.push({ channel, ...torque });
    const edge = edgeInfo(servoOf(spec)?.edge, known);
    if (edge) report.edges.push({ channel, ...edge });
    if (linkage) report.linkages.push({ channel, ...linkage });
  }
  return report;
}

const kgfCm = (nm: number) => String(tidy(nm / KGF_CM_NM, 1));

/** The report for the terminal: a block for each part that the file describes. */
export function mechanicsText({ torque, linkages, edges, vapour }: MechanicsReport): string[] {
  const blocks: string[] = [];
  if (torque.length > 0) {
    const heading = [
      'servo',
      'needs N m',
      'kgf cm',
      'at deg',
      'to start N m',
      'stalls at N m',
      'kgf cm',
      'margin',
    ];
    const rows = torque.map((one) => [
      one.channel,
      String(tidy(one.worstNm, 3)),
      kgfCm(one.worstNm),
      String(one.atDeg),
      String(tidy(one.accelerationNm, 3)),
      one.stallNm === undefined ? '' : String(tidy(one.stallNm, 3)),
      one.stallNm === undefined ? '' : kgfCm(one.stallNm),
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
  if (edges.length > 0) {
    const heading = [
      'edge',
      'arm mm',
      'stalled N',
      'at deg',
      'backs off from N',
      'after s',
      'limit N',
    ];
    const rows = edges.map((one) =>
      [one.channel, one.armMm, one.stallN, one.atDeg, one.pushN, one.pushS, one.limitN].map(
        (value) => (value === undefined ? '' : String(value)),
      ),
    );
    const note = `computed from torque and arm; what strikes adds to it. ${ORIENTATION_TEXT}.`;
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
