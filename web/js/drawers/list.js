// All drawers, in the order of their buttons.

import { drawer as board } from "../drawer-board.js";
import { drawer as check } from "./check.js";
import { drawer as intervals } from "./intervals.js";
import { drawer as recordings } from "./recordings.js";
import { drawer as sound } from "./soundcard.js";
import { drawer as spectrum } from "./spectrum.js";
import { drawer as share } from "./share.js";
import { drawer as why } from "./why.js";
import { drawer as firmware } from "./firmware.js";
import { drawer as parts } from "./parts.js";

export const DRAWERS = [board, check, intervals, recordings, sound, spectrum, share, why, firmware, parts];
