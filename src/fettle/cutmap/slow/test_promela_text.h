// The parts of a Promela model that are the same for every family: names, cuts, what happens when power returns, the
// end. The parts made for each family stand in test_promela.cc.
#pragma once

namespace fettle::cutmap::promela_text {

// What cells, rules and their words are counted as.
inline constexpr const char* values =
    "#define OLD 0\n#define NEW 1\n#define TORN 2\n#define OTHER 3\n#define NONE 255\n#define UNKNOWN 9\n"
    "#define BY_ITSELF 0\n#define WITH_THE_CARD 1\n#define NOT_AT_ALL 2\n"
    "#define SAME_CELL 0\n#define SAME_ACT 1\n#define START 2\n#define KEPT 0\n#define REWRITTEN 1\n";

// Where all boxes are fed together.
inline constexpr const char* one_supply =
    "#define OF_A_SUPPLY() skip\n#define LOSES(x) 1\n#define HOLDS(x)\n#define UNBROKEN()\n#define ALL_POWERED()\n";

// One box weighed: its number, whether it comes up as in daily use, whether it may go on with the act.
inline constexpr const char* weigh_box = R"(  rule_says(starts[{0}]);
  holds = ({1});
  normal = normal && holds;
  if
  :: starts[{0}] == NONE || (!holds && goes_on == NOT_AT_ALL) ->
     no_start({0});
     if
     :: STARTS_{0} -> dead = 1; if :: rest > used_rest -> used_rest = rest :: else fi
     :: else -> if :: rest > later_rest -> later_rest = rest :: else fi
     fi
  :: else ->
     if
     :: goes_on != NOT_AT_ALL ->
        goes = 1;
        if :: goes_on == WITH_THE_CARD -> takes = same_card :: else fi;
        if :: {2} -> driver = {0} :: else fi
     :: else
     fi
  fi;
)";

// What every model has in common. i_, seen, holds: for looking only.
inline constexpr const char* common = R"(
byte at_act, at_cell, from_cell, base;
bit mark, rewrite = 1;
byte left = CUTS, used;
short first = -1;
byte how, outcome, strays, stray_box;
bit stray, net, dead, normal, goes;
byte rest, driver, takes, goes_on, from, whole;
byte i_, seen;
bit holds;

inline look(a, n) { i_ = a; do :: i_ < (a) + (n) -> seen = seen | (1 << c[i_]); i_++ :: else -> break od }
#ifdef ENDS /* is the end reached, by itself or by the card, on every way? Then a loop is left to be one */
bit finished, at_end;
#define REACHED at_end = 1
ltl always_ends { <> (finished == 1) }
#define TOO_OFTEN 0
#define ONCE_MORE skip
#else
#define REACHED skip
#define TOO_OFTEN (strays >= STRAYS)
#define ONCE_MORE strays++
#endif
#define TORN_SEEN (seen & (1 << TORN))
#define ONE_RELEASE ((seen & 11) == 0 || (seen & 11) == 1 || (seen & 11) == 2 || (seen & 11) == 8)
inline forget(a, n) { i_ = a; do :: i_ < (a) + (n) -> FORGET(i_) i_++ :: else -> break od }
inline holds_as_found(a, n) { i_ = a; do :: i_ < (a) + (n) -> c[i_] = base; found[i_] = base; i_++ :: else -> break od }
inline cut(m) { left--; used++; OF_A_SUPPLY(); if :: first < 0 -> first = m :: else fi }
inline may_cut(m) { if :: left > 0 -> cut(m); goto power_lost :: true -> skip fi }
)";

inline constexpr const char* power_lost = R"(
power_lost: /* what was reported written and is not on the medium yet: new, as before, or torn, each by itself */
  i_ = 0;
  do
  :: i_ < CELLS && !(risk[i_] && LOSES(i_)) -> HOLDS(i_) i_++
  :: i_ < CELLS && risk[i_] && LOSES(i_) ->
     if :: true -> skip :: true -> c[i_] = was[i_] :: !ATOMIC(i_) -> c[i_] = TORN fi;
     FORGET(i_) i_++
  :: i_ >= CELLS -> break
  od;
  stray = 0; strays = 0;

power_returns:
  skip;
  d_step { find_starts(); weigh_boxes(); i_ = 0; seen = 0 }
  if
  :: dead -> outcome = rest; goto over
  :: else
  fi;
  UNBROKEN()
  d_step { as_found(); i_ = 0 }
  if
  :: normal && !mark && holds -> outcome = nothing_changed; goto over
  :: else
  fi;
  if
  :: mark && as_planned() ->
     how = goes_on_by_itself; strays = 0; driver_rule(); rewrite = (whole != KEPT);
     at_act++; from_cell = 0; goto take_up
  :: else
  fi;
  d_step { all_new(); i_ = 0; seen = 0 }
  if
  :: normal && holds -> outcome = done; goto over
  :: else
  fi;
  if
  :: !goes -> outcome = rest; goto over
  :: else
  fi;
  driver_rule();
  if :: goes_on == UNKNOWN -> if :: goes_on = BY_ITSELF :: goes_on = WITH_THE_CARD :: goes_on = NOT_AT_ALL fi :: else fi;
  if :: goes_on == NOT_AT_ALL -> outcome = rest; goto over :: else fi;
  if :: from == UNKNOWN -> if :: from = SAME_CELL :: from = SAME_ACT :: from = START fi :: else fi;
  if :: whole == UNKNOWN -> if :: whole = KEPT :: whole = REWRITTEN fi :: else fi;
  if
  :: stray && TOO_OFTEN -> d_step { no_start(stray_box); outcome = rest }; goto over
  :: stray && !TOO_OFTEN ->
     ONCE_MORE; if :: goes_on == WITH_THE_CARD || takes == same_card -> how = same_card :: else fi
  :: !stray && (goes_on == WITH_THE_CARD || takes == same_card) -> how = same_card
  :: else -> how = goes_on_by_itself
  fi;
  rewrite = (whole != KEPT);
  if
  :: from == START -> at_act = 0; from_cell = 0; d_step { run_begins() }
  :: from == SAME_CELL && rewrite -> from_cell = at_cell
  :: else -> from_cell = 0
  fi;

take_up:
  skip;
  /* boxes that did not restart, or kept their power, still hold theirs back */
  ALL_POWERED()
  mark = 0; stray = 0; driver = 0; goes_on = 0; from = 0; whole = 0; takes = 0; rest = 0;
  net = 0; dead = 0; normal = 0; goes = 0; holds = 0;
)";

inline constexpr const char* ending = R"(
ended:
  outcome = how; REACHED;

over:
  if
#ifdef ENDS
  :: at_end || (first >= 0 && (outcome <= same_card || outcome == done)) -> finished = 1
  :: else /* stopped on the way, with or without a cut */
#else
  :: first < 0 -> skip /* the run as planned, without a cut */
  :: else ->
#ifdef LIST
     c_code { printf("outcome %d %d %d\n", now.first, now.used, now.outcome); }
#else
     assert(outcome != bench_repair && outcome != lost)
#endif
#endif
  fi
}
)";

}  // namespace fettle::cutmap::promela_text
