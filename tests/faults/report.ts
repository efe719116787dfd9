import { appendFileSync } from 'node:fs';

/** One line of the report. */
export interface Row {
  /** What was done to the prop or the daemon. */
  fault: string;
  /** What must hold all the same, with its number. */
  promise: string;
  /** The worst that was measured, with its unit. */
  worst: string;
  holds: boolean;
}

/** Where the rows of a run are collected; set by the project's global setup. */
export const ROWS_VARIABLE = 'SINEW_FAULTS_ROWS';

/** `npm run test:faults` asks for the long half; `npm test` runs the quick one. */
export const LONG = process.env.SINEW_FAULTS === 'long';

/** Adds a row to the table at the end of the run. Tell first, then assert: a broken promise is a row, too. */
export function addRow(row: Row): void {
  const file = process.env[ROWS_VARIABLE];
  if (!file) throw new Error(`${ROWS_VARIABLE} is not set: run this as a part of vitest's project`);
  appendFileSync(file, `${JSON.stringify(row)}\n`);
}
