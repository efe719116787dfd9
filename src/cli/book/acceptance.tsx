import type { AcceptancePart } from './acceptance-checks.ts';

export interface AcceptanceView {
  /** The prop file's name alone, its version, and that of Sinew. */
  prop: string;
  file: string;
  version: string;
  program: string;
  date: string | undefined;
  parts: readonly AcceptancePart[];
  /** What the daemon says of itself, in sentences; empty where none was asked. */
  daemon: readonly string[];
}

/** The sheet: what to do, what must happen, what was measured, and a box; signed by hand. */
export function Acceptance({ prop, file, version, program, date, parts, daemon }: AcceptanceView) {
  let count = 0;
  return (
    <>
      <dl>
        <dt>Prop</dt>
        <dd>{prop}</dd>
        <dt>Made from</dt>
        <dd>
          {file}, version {version}, with Sinew {program}
        </dd>
        {date !== undefined && (
          <>
            <dt>Date</dt>
            <dd>{date}</dd>
          </>
        )}
        <dt>Daemon</dt>
        <dd>
          {daemon.length === 0
            ? 'not asked: measured values are written by hand'
            : daemon.map((one) => <div key={one}>{one}</div>)}
        </dd>
      </dl>
      <div class="warn">
        <p>
          Two people: one at the prop who only watches, with a hand at the switch that cuts the
          actuators' power; one who gives the commands. Everybody else stays out of reach. A check
          that fails ends the acceptance: switch off, repair, begin again. Passing it is no proof of
          safety (no performance level, ISO 13849-1): local codes, and the judgement of people
          licensed to apply them, go before this sheet.
        </p>
      </div>
      {parts.map(({ title, checks }) => (
        <table key={title} class="plain compact checks">
          <thead>
            <tr>
              <th colSpan={2}>{title}</th>
              <th>Must happen</th>
              <th>Measured</th>
              <th class="tick">OK</th>
            </tr>
          </thead>
          <tbody>
            {checks.map(({ what, expect, measured }) => (
              <tr key={what}>
                <td>{++count}</td>
                <td>{what}</td>
                <td>{expect}</td>
                <td>{measured ?? <span class="value" />}</td>
                <td class="tick">
                  <span class="box" />
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      ))}
      <div class="names">
        {['Watched by', 'Commands given by', 'For the client'].map((who) => (
          <div key={who}>
            <span class="line" />
            {who}: name, signature, date
          </div>
        ))}
      </div>
      <p>
        Not passed, and what was agreed:
        <span class="line" />
        <span class="line" />
      </p>
    </>
  );
}
