/** A resistor between two nodes, which are numbers from 0. */
export interface Branch {
  from: number;
  to: number;
  /** Above 0; ends without resistance between them are one node. */
  ohm: number;
}

/**
 * A direct-current network of resistors, fed and loaded by currents: nodal analysis (Kirchhoff's current
 * law at every node, Ohm's law in every branch), for any number of loads on the same network. The
 * conductance matrix is eliminated once, the node with the fewest neighbours first (minimum degree;
 * Tinney and Walker 1967, from memory), each by the star-mesh transform. A loom is nearly a tree, whose
 * leaves are eliminated one by one, so the work is proportional to its wires. A heavily meshed network of
 * thousands of nodes would take long.
 */
export class ResistorNetwork {
  readonly #nodes: number;
  readonly #branches: readonly Branch[];
  /** Nodes in the order of elimination, and the index at which the neighbours of each begin. */
  readonly #order: Int32Array;
  readonly #first: Int32Array;
  readonly #neighbour: Int32Array;
  /** The share of the node's current that goes to this neighbour. */
  readonly #share: Float64Array;
  /** Resistance of the node to all its neighbours together (ohm); 0 for a node at 0 V. */
  readonly #ohm: Float64Array;

  /**
   * @param zero nodes that are held at 0 V; in a part of the network without one, some node is taken as 0
   * V
   */
  constructor(nodes: number, branches: readonly Branch[], zero: readonly number[] = []) {
    this.#nodes = nodes;
    this.#branches = branches;
    const near = conductances(nodes, branches);
    const held = new Set(zero);
    const queue = new Queue(near, held);
    this.#order = new Int32Array(nodes);
    this.#first = new Int32Array(nodes + 1);
    this.#ohm = new Float64Array(nodes);
    const neighbours: number[] = [];
    const shares: number[] = [];
    for (let k = 0; k < nodes; k++) {
      const node = queue.take();
      this.#order[k] = node;
      const around = held.has(node) ? [] : [...near[node]!];
      let sum = 0;
      for (const [, conductance] of around) sum += conductance;
      if (around.length > 0) this.#ohm[k] = 1 / sum;
      for (const [other, conductance] of around) {
        neighbours.push(other);
        shares.push(conductance / sum);
        near[other]!.delete(node);
      }
      for (const [i, [a, toA]] of around.entries())
        for (const [b, toB] of around.slice(i + 1)) {
          const between = (toA * toB) / sum;
          near[a]!.set(b, (near[a]!.get(b) ?? 0) + between);
          near[b]!.set(a, (near[b]!.get(a) ?? 0) + between);
        }
      for (const [other] of around) queue.moved(other);
      this.#first[k + 1] = neighbours.length;
    }
    this.#neighbour = Int32Array.from(neighbours);
    this.#share = Float64Array.from(shares);
  }

  /**
   * Voltages of all nodes (V) while these currents (A, one per node; positive into the network, negative
   * for a load) flow. In each part of the network they must add up to 0, unless one of its nodes is held
   * at 0 V: that node takes up the difference.
   */
  volts(injectedA: ArrayLike<number>): Float64Array {
    const amps = Float64Array.from(injectedA);
    const volts = new Float64Array(this.#nodes);
    for (let k = 0; k < this.#nodes; k++) {
      const own = amps[this.#order[k]!]!;
      if (own === 0) continue;
      for (let i = this.#first[k]!; i < this.#first[k + 1]!; i++)
        amps[this.#neighbour[i]!]! += own * this.#share[i]!;
    }
    for (let k = this.#nodes - 1; k >= 0; k--) {
      const node = this.#order[k]!;
      let sum = amps[node]! * this.#ohm[k]!;
      for (let i = this.#first[k]!; i < this.#first[k + 1]!; i++)
        sum += volts[this.#neighbour[i]!]! * this.#share[i]!;
      volts[node] = sum;
    }
    return volts;
  }

  /** The current (A) in every branch, from `from` to `to`, at these voltages. */
  amps(volts: ArrayLike<number>): Float64Array {
    return Float64Array.from(
      this.#branches,
      ({ from, to, ohm }) => (volts[from]! - volts[to]!) / ohm,
    );
  }
}

/** The neighbours of every node and the conductance to each (S); branches side by side add up. */
function conductances(nodes: number, branches: readonly Branch[]): Map<number, number>[] {
  const near = Array.from({ length: nodes }, () => new Map<number, number>());
  for (const { from, to, ohm } of branches) {
    if (from === to) continue;
    near[from]!.set(to, (near[from]!.get(to) ?? 0) + 1 / ohm);
    near[to]!.set(from, (near[to]!.get(from) ?? 0) + 1 / ohm);
  }
  return near;
}

/** Nodes ordered by the number of neighbours they have left; those held at 0 V come last. */
class Queue {
  readonly #near: readonly Map<number, number>[];
  readonly #held: ReadonlySet<number>;
  readonly #taken: Uint8Array;
  readonly #byCount: number[][] = [];
  #lowest = 0;

  constructor(near: readonly Map<number, number>[], held: ReadonlySet<number>) {
    this.#near = near;
    this.#held = held;
    this.#taken = new Uint8Array(near.length);
    for (let node = near.length - 1; node >= 0; node--) this.moved(node);
  }

  /** Call this when a node's number of neighbours has changed. */
  moved(node: number): void {
    const count = this.#held.has(node) ? this.#near.length : this.#near[node]!.size;
    this.#byCount[count] ??= [];
    this.#byCount[count].push(node);
    this.#lowest = Math.min(this.#lowest, count);
  }

  take(): number {
    for (;;) {
      const node = this.#byCount[this.#lowest]?.pop();
      if (node === undefined) {
        this.#lowest++;
        continue;
      }
      const count = this.#held.has(node) ? this.#near.length : this.#near[node]!.size;
      // A node is listed once for every change; only the last entry counts.
      if (this.#taken[node] || count !== this.#lowest) continue;
      this.#taken[node] = 1;
      return node;
    }
  }
}
