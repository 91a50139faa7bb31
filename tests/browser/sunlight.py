"""What makes a page hard to use outdoors: targets for the thumb that are too small, text too faint for the sun."""

from __future__ import annotations

from typing import Final

SMALL: Final = """(within) => [...document.querySelectorAll(
    `${within} a:not(.skip), ${within} button, ${within} select, ${within} summary, ${within} input`)]
  .filter((one) => { const box = one.getBoundingClientRect(); return box.width && box.height && box.height < 44; })
  .map((one) => `${one.tagName} ${one.textContent.trim()}`)"""
"""Targets below 44 CSS pixels (WCAG 2.2, 2.5.5 Target Size, Enhanced)."""

FAINT: Final = """(within) => {
  const colour = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const share = (value) => { const part = value / 255;
    return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4; };
  const light = ([r, g, b]) => 0.2126 * share(r) + 0.7152 * share(g) + 0.0722 * share(b);
  const ground = (one) => {
    for (let here = one; here; here = here.parentElement) {
      const found = colour(getComputedStyle(here).backgroundColor);
      if (found.length === 3 || found[3] === 1) return found;
    }
    return [255, 255, 255];
  };
  const faint = [];
  for (const one of document.querySelectorAll(`${within}, ${within} *`)) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || !one.getClientRects().length || one.closest("[hidden], template, svg, .skip, .hidden")) continue;
    const [above, below] = [light(colour(getComputedStyle(one).color)), light(ground(one))];
    const ratio = (Math.max(above, below) + 0.05) / (Math.min(above, below) + 0.05);
    if (ratio < 7) faint.push(`${one.tagName} ${ratio.toFixed(1)} ${one.textContent.trim().slice(0, 40)}`);
  }
  return faint;
}"""
"""Text below a contrast of 7:1 (WCAG 2.2, 1.4.6 Contrast, Enhanced; relative luminance as defined there)."""
