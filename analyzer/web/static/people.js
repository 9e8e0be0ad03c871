// Whom something is for: anybody, the player who is set beside the music, or one of the section.

import { on, page, state } from "./state.js";
import { make } from "./pieces.js";

// What a section knows of a seat, and not of what a player can do.
const OF_THE_SEAT = ["horns", "instrument", "keeps", "extreme_low", "extreme_high", "endurance_minutes", "clefs", "absent"];
const told = (player) => Object.fromEntries(Object.entries(player ?? {}).filter(([key, value]) => !OF_THE_SEAT.includes(key) && value !== "" && value !== null));
const more = (player) => Object.keys(told(player)).some((key) => key !== "name");

/** Everybody who can be chosen: [name, what is known, first horn]. */
function everybody() {
  const set = page.at >= 0 ? state().player : page.desk.player;
  const found = [["anybody: nothing is known of the player", {}]];
  if (more(set)) found.push([set.name || "the player as set under My passage", told(set)]);
  for (const [name, player] of seated()) found.push([name, told(player), player.horns[0]]);
  return found;
}

/** Everybody with a horn of every section that is kept: [name, the player]; the section's name too, where there are several. */
function seated() {
  const { section, sections = { "": section } } = page.desk, names = Object.keys(sections);
  return Object.entries(sections).flatMap(([name, one]) => (one?.players ?? []).filter(({ horns }) => horns?.length)
    .map((player) => [`${player.name || "a player"}${names.length > 1 ? ` (${name})` : ""}`, player]));
}

/** Fill every list of players anew; who was chosen stays so. */
export function fillPlayers() {
  for (const select of document.querySelectorAll("select[data-players]")) {
    const before = select.selectedOptions[0]?.textContent, all = everybody();
    select.replaceChildren(...all.map(([name], nth) => make("option", name, { value: nth })));
    const again = all.findIndex(([name]) => name === before);
    select.value = String(again >= 0 ? again : all.length > 1 && more(all[1][1]) ? 1 : 0);
  }
}

/** What is known of a player of a section, by the name that stands in it. */
export const playerNamed = (section, name) => told(section.players.find((player) => player.name === name));
/** What is known of the player who is chosen in a list. */
export function playerIn(select) { return everybody()[Number(select.value)]?.[1] ?? {}; }
/** The first horn of the player who is chosen, as a section has it. */
export function hornIn(select) { return everybody()[Number(select.value)]?.[2] ?? null; }
/** Whether a section with horns is known. */
export const hasSection = () => (page.desk.section?.players ?? []).some(({ horns }) => horns?.length);

on("section", fillPlayers);
on("started", fillPlayers);
on("forgotten", fillPlayers);
