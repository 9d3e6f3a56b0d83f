// What goes over the line, for whoever reads or checks the modules beside it: `tsc -p bms-sim/src/page`. The head of page/mod.rs and of
// explain/stop.rs describe the same.

/** Whatever is asked: one of the commands of page/mod.rs. */
export type Command = { do: string } & Record<string, unknown>;

/** Something that is otherwise from some tick on. */
export type Change = { change: string } & Record<string, unknown>;

/** Where to stand: what an address says of the pack. */
export interface Wanted {
  case?: string;
  text?: string;
  hidden?: string;
  seed?: number;
  played?: number;
  changes?: { played: number; change: Change }[];
}

export interface Refused { kind: 'refused'; said: string }

export interface Story {
  kind: 'story';
  hidden: boolean;
  name: string;
  title: string;
  story: string;
  pack: string;
  cells: number;
  cells_a_module: number;
  thermistor_cells: number[];
  ampere_hours: number;
  precharge_ohms: number;
  link_farads: number;
  bleed_down_ohms: number;
  seed: number | null;
}

/** A tick as it was measured and decided; what is true only where nothing is hidden. */
export interface Stop {
  seconds: number;
  cells_volts: number[];
  thermistors_celsius: (number | null)[];
  pack_volts: number;
  link_volts: number;
  current_amps: number;
  step: string;
  bled_cells: number[];
  suspect: string[];
  confirmed: string[];
  latched: string[];
  reaction: { reaction: string; fault: string } | null;
}

export interface Truth {
  cells_celsius: number[];
  cells_charge_of_1: number[];
  closed: boolean[];
  resistor_celsius: number;
  string_whole: boolean;
}

export interface Contactor { which: 'negative' | 'precharge' | 'positive'; said: string; coil_on: boolean; says_closed: boolean }

export interface Near { fault: string; words: string; said: string; stage: string; margin_of_limit: number }

export interface Happened { played: number; clock: string; sentence: string }

/** Where somebody stands. What belongs to a tick is there once one was played. */
export interface View {
  kind: 'view';
  case: string;
  hidden: boolean;
  seed: number | null;
  played: number;
  ticks: number;
  seconds: number;
  end_seconds: number;
  clock: string;
  speed: number | null;
  over: boolean;
  branch: string;
  branches: { name: string; said: string; from: string | null; at_played: number }[];
  changes: { played: number; change: Change }[];
  defects: { number: number; kind: string; said: string; present: boolean; over: boolean }[];
  recent: Happened[];
  stop: Stop;
  lines: { name: string | null; text: string; alarming: boolean }[];
  said: string[];
  near: Near[];
  contactors: Contactor[];
  around: {
    behind_negative_volts: number;
    behind_positive_volts: number;
    chassis_to_negative_volts: number;
    positive_to_chassis_volts: number;
    service_disconnect_made: boolean;
    closing_asked: boolean;
  };
  cells_charge_of_1: [number, number][];
  truth?: Truth;
}

export type Column = 'current_amps' | 'charge_limit_amps' | 'discharge_limit_amps' | 'lowest_cell_volts' | 'highest_cell_volts'
  | 'pack_volts' | 'link_volts' | 'true_coldest_cell_celsius' | 'true_warmest_cell_celsius';

/** Columns over time, and what held when. */
export interface Series extends Partial<Record<Column, number[]>> {
  kind: 'series';
  of: string;
  seconds: number[];
  played: number[];
  lanes: { name: string; spans: { word: string; from: number; to: number }[] }[];
  events: { played: number; seconds: number; sentence: string; sort: 'told' | 'act' | 'defect' | 'breach' }[];
  defects: { name: string; from: number; to: number }[];
}

export interface Reasons { kind: 'why'; why: string; near: string; verdict: string[]; dangerous: boolean }
export interface Lines { kind: 'lines'; lines: string[] }
export interface Hidden { kind: 'hidden'; word: string }
export interface Diagnosed { kind: 'diagnosed'; right: boolean; said: string[] }
export interface Metered { kind: 'metered'; volts: number; said: string }
export interface Proven { kind: 'proven'; dead: boolean; said: string[] }

export type Answer = View | Story | Series | Reasons | Lines | Hidden | Diagnosed | Metered | Proven | Refused;

export interface Lists {
  cases: string[];
  duties: { work: string; usual_rate_c: number }[];
  words: { word: string; forms: string[]; means: string }[];
  cautions: string;
  cautions_at: Record<string, string>;
  generator: string;
}

export interface PlaceListed { key: string; names: string[]; count: number }
export interface SeverityListed { unit: string; least: number; most: number; usual: number }
export interface DefectListed { kind: string; name: string; changes: string; place: PlaceListed | null; severity: SeverityListed | null; grows: boolean; caution: string }
export interface RepairListed { kind: string; name: string; does: string; place: PlaceListed | null }
export interface Knob { value: number; least: number; most: number; unit: string }
export interface FaultListed { fault: string; words: string; meaning: string; trip: Knob | null; dwell: Knob | null }

export interface OfCase { defects: DefectListed[]; repairs: RepairListed[]; faults: FaultListed[] }

/** A start on the bench. */
export interface Start {
  kind: 'bench';
  at_once: string;
  possible: boolean;
  ms: number[];
  link_volts: number[];
  amps: number[];
  resistor_celsius: number[];
  expected_volts: (number | null)[];
  fast_volts: (number | null)[];
  slow_volts: (number | null)[];
  checks: { ms: number; said: string }[];
  ends: string;
  heat: string;
  resistor_joules: number;
  hottest_celsius: number;
  rated_celsius: number;
}
