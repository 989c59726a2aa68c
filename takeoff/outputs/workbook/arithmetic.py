"""Plain arithmetic that people type into cells: `=12*3.5+2` where no program has stored its value."""

import ast
import operator
import re
from collections.abc import Callable

_SIGNS: dict[type, Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_LONGEST = 500
_WORDS = re.compile(r"[A-DF-Za-df-z]")
"""Letters of functions and cells, of which the common formulas are full: there is no need to parse them."""


def plain_value(formula: str) -> float | None:
    """The value of a formula made of numbers, + - * / ^ and brackets only; None for any other."""
    text = formula.removeprefix("=").replace("^", "**").replace("%", "/100")
    if len(text) > _LONGEST or _WORDS.search(text):
        return None
    try:
        value = _value(ast.parse(text.strip(), mode="eval").body)
    except (SyntaxError, ValueError, ZeroDivisionError, OverflowError, RecursionError):
        return None
    return value if value is not None and abs(value) < 1e15 else None


def _value(node: ast.expr) -> float | None:
    if isinstance(node, ast.Constant):
        return float(node.value) if isinstance(node.value, int | float) else None
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        inner = _value(node.operand)
        return None if inner is None else (-inner if isinstance(node.op, ast.USub) else inner)
    if isinstance(node, ast.BinOp) and type(node.op) in _SIGNS:
        left, right = _value(node.left), _value(node.right)
        if left is None or right is None or (isinstance(node.op, ast.Pow) and abs(right) > 20):
            return None
        result = _SIGNS[type(node.op)](left, right)
        return result if isinstance(result, float) else None
    return None
